"""Meters on unpowered circuits against closed forms, and the ESR model against IEC 60384-4."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from lostgain.signatures.poweroff_esr import SERIES, dielectric_esr, dried, electrolyte_ohms, esr_table, expected_esr
from tests.signatures.meters import flat, meter, show, show_esr

DIODE = {"d": "d(is=1e-14 n=1)"}
THERMAL = 1.380649e-23 * 300.15 / 1.602176634e-19  # k T / q at ngspice's 27 degC (CODATA 2018 constants)


def test_parallel_resistances() -> None:
    """Kirchhoff: 22k with 10k in series with 4k7 across it."""
    circuit = flat("r1 a 0 22k", "r2 a b 10k", "r3 b 0 4.7k")
    expected = 1 / (1 / 22e3 + 1 / 14.7e3)
    [(settled, waited)] = show([(circuit, ("a", "0"), meter())])
    assert settled == pytest.approx((expected, expected), rel=1e-5)
    assert waited == pytest.approx((expected, expected), rel=1e-4)


def test_a_low_test_voltage_does_not_see_a_junction_that_an_ordinary_one_does() -> None:
    """22k with a diode across it: Shockley's equation with the meter's load line, solved by SciPy."""
    circuit = flat("r1 a 0 22k", "d1 a 0 d", models=DIODE)
    shown = show([(circuit, ("a", "0"), meter()), (circuit, ("a", "0"), meter("ohmmeter-low"))])
    ordinary, low = shown[0][0], shown[1][0]
    assert low == pytest.approx((22e3, 22e3), rel=2e-3)
    assert ordinary[1] == pytest.approx(22e3, rel=1e-4)  # the other way round the diode blocks
    # With a megohm instead, the meter is on a range at which the diode takes most of its current.
    circuit = flat("r1 a 0 1meg", "d1 a 0 d", models=DIODE)
    [(settled, _)] = show([(circuit, ("a", "0"), meter())])
    full, source = next(each for each in meter().ranges if settled[0] <= each[0])
    volts = brentq(lambda v: (1.2 - v) / source - v / 1e6 - 1e-14 * (exp(v / THERMAL) - 1), 0, 1.2)
    assert full >= settled[0] == pytest.approx(volts / ((1.2 - volts) / source), rel=2e-3)
    assert settled[1] == pytest.approx(1e6, rel=1e-3)


def test_base_and_emitter_both_ways_on_the_diode_test() -> None:
    """Base to emitter with the collector open, after J. J. Ebers and J. L. Moll (Proc. IRE 42, 1954)."""
    circuit = flat("q1 c b 0 n", models={"n": "npn(is=1e-14 bf=100 br=1)"})
    [((forward, back), _)] = show([(circuit, ("b", "0"), meter("diode-test"))])
    assert 0.55 < forward < 0.75
    amperes = (2.8 - forward) / 2.8e3
    # Collector open: the transistor saturates, and the junction carries (1 + 1/bf) Is plus its inverse share.
    expected = brentq(lambda v: _base_current(v) - amperes, 0.3, 0.9)
    assert forward == pytest.approx(expected, abs=2e-3)
    assert back == pytest.approx(2.8, rel=1e-3)  # blocks: over range, above the 2 V that such a meter shows


def _base_current(volts: float) -> float:
    """Base current with the collector open, from the transport form of Ebers and Moll: Is = 1e-14, bf 100, br 1."""
    forward = 1e-14 * (exp(volts / THERMAL) - 1)
    # No collector current: (forward - reverse) = reverse / br.
    reverse = forward / 2
    return forward / 100 + reverse


@pytest.mark.parametrize(("farads", "wait"), [(100e-6, 1.0), (100e-6, 5.0), (10e-6, 0.5)])
def test_an_electrolytic_charging_through_the_meter(farads: float, wait: float) -> None:
    """V = Voc (1 - exp(-t / R C)) with R the meter's source resistance on its range and 22k across the capacitor."""
    ohms = 22e3
    one = replace(meter(), wait=wait)
    circuit = flat(f"r1 a 0 {ohms:g}", f"c1 a 0 {farads:g}")
    [(settled, waited)] = show([(circuit, ("a", "0"), one)])
    assert settled[0] == pytest.approx(ohms, rel=1e-5)
    full = [limit for limit, _ in one.ranges]
    source = next(each for limit, each in one.ranges if waited[0] <= limit or limit == full[-1])
    thevenin, end = 1 / (1 / source + 1 / ohms), 1.2 * ohms / (source + ohms)
    volts = end * (1 - exp(-wait / (thevenin * farads)))
    assert waited[0] == pytest.approx(volts / ((1.2 - volts) / source), rel=5e-3)


def test_esr_of_capacitors_in_parallel() -> None:
    """Z = 1 / (1/Z1 + 1/Z2), each R + 1 / (j w C); a meter may show its real part or its size."""
    w = 2 * pi * 100e3
    first, second = 2.0 + 1 / (1j * w * 10e-6), 0.5 + 1 / (1j * w * 47e-6)
    both = 1 / (1 / first + 1 / second)
    circuit = flat("r1 a b 2", "c1 b 0 10u", "r2 a c 0.5", "c2 c 0 47u")
    real, size = show_esr([(circuit, ("a", "0"), replace(meter("esr-meter"), shows=what)) for what in ("real", "size")])
    assert real == pytest.approx(both.real, rel=1e-5)
    assert size == pytest.approx(abs(both), rel=1e-5)
    assert real < 0.5  # two good ones hide a bad one: in circuit it reads no more than the best


def test_dielectric_losses_of_iec_60384_4() -> None:
    """tan delta = 2 pi f C ESR, at 100 or 120 Hz (IEC 60384-4): 10 uF at 0.10 has 13 to 16 ohm there."""
    assert dielectric_esr(10e-6, 120, 0.10) == pytest.approx(13.26, abs=0.01)
    assert dielectric_esr(10e-6, 100, 0.10) == pytest.approx(15.92, abs=0.01)
    assert dielectric_esr(10e-6, 100e3, 0.10) == pytest.approx(0.0159, abs=1e-4)


def test_what_benches_read_of_good_electrolytics() -> None:
    """Common practice, no source: a new 10 uF 63 V read 2.6 to 2.7 ohm; 5 to 6 ohm was a guide for a used 50 V one."""
    assert 2.6 <= expected_esr(10e-6, 63) <= 2.7
    assert 2.65 <= expected_esr(10e-6, 50) <= 6.0
    assert expected_esr(10e-6, 50, "low-impedance") < expected_esr(10e-6, 50)
    # Of what a 100 kHz meter shows, the dielectric is next to nothing.
    assert electrolyte_ohms(10e-6, 63) == pytest.approx(expected_esr(10e-6, 63), rel=0.01)


def test_every_row_of_the_esr_table_names_its_source() -> None:
    assert {row.series for row in esr_table().rows} == set(SERIES)
    assert all(row.source for row in esr_table().rows)
    assert all(len(row.volts) == len(row.ohms) for row in esr_table().rows)


@given(st.floats(0.5e-6, 10e-3), st.floats(6.0, 100.0), st.sampled_from(SERIES))
def test_a_larger_capacitor_or_a_higher_rating_has_no_more_esr(farads: float, volts: float, series: str) -> None:
    here = expected_esr(farads, volts, series)
    assert 0 < here < 100
    assert expected_esr(1.5 * farads, volts, series) <= here * 1.001
    assert expected_esr(farads, 1.3 * volts, series) <= here * 1.001


@given(st.floats(1e-5, 1.0), st.floats(1.01, 5.0))
def test_the_drier_the_more_esr(share: float, times: float) -> None:
    assert dried(share / times) >= dried(share) >= 1.0


RESISTANCES = st.floats(log(1.0), log(3e6)).map(exp)


@settings(max_examples=8)
@given(st.lists(RESISTANCES, min_size=4, max_size=4), RESISTANCES)
def test_resistors_read_the_same_both_ways_and_more_in_parallel_never_more(ohms: list[float], more: float) -> None:
    """Reciprocity, and Rayleigh's monotonicity law: lowering a resistance never raises the one between two nodes."""
    lines = [f"r1 a b {ohms[0]:g}", f"r2 b 0 {ohms[1]:g}", f"r3 a 0 {ohms[2]:g}", f"r4 b c {ohms[3]:g}", "r5 c 0 1k"]
    before, after = show([(flat(*lines), ("a", "0"), meter()), (flat(*lines, f"r6 b 0 {more:g}"), ("a", "0"), meter())])
    assert before[0][0] == pytest.approx(before[0][1], rel=1e-6)
    assert after[0][0] <= before[0][0] * (1 + 1e-6)


@settings(max_examples=8)
@given(RESISTANCES)
def test_a_junction_in_parallel_never_raises_a_reading_either(ohms: float) -> None:
    alone, bridged = show([(flat(f"r1 a 0 {ohms:g}"), ("a", "0"), meter()),
                           (flat(f"r1 a 0 {ohms:g}", "d1 a 0 d", models=DIODE), ("a", "0"), meter())])  # fmt: skip
    assert max(bridged[0]) <= alone[0][0] * (1 + 1e-6)
