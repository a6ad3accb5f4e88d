"""Output stages and drivers against the textbook.

Sources
-------
[SS] A. S. Sedra and K. C. Smith, *Microelectronic Circuits*: the V_BE multiplier, class-B efficiency, feedback (from
    memory, to be verified).
[LIN] H. C. Lin, "Quasi-complementary transistor amplifier", Electronics, September 1956: the topology (from memory, to
    be verified).
Offsets, quiescent currents, losses at the rails and settling times: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from tests.circuits.examples import EXAMPLES
from tests.circuits.solve import powered, run
from tests.published.test_stages import corner, distortion, harmonics, level, sine

RAILS = {"vp": 28.0, "vn": -28.0}
ONE = {"vp": 36.0}
CLASS_AB = [("classab-quasi", RAILS, 1 / 23), ("classab-single-supply", ONE, 1 / 22.4)]


def stage(name: str, source: str, rails: dict[str, float], **instead: float) -> list[str]:
    """Return a stage's worked example with another source, and parts with other values."""
    return powered(name, {**EXAMPLES[name][0], **instead}, source, EXAMPLES[name][1], rails)


@pytest.mark.parametrize(("name", "rails", "per_volt"), CLASS_AB)
def test_one_watt_is_clean(name: str, rails: dict[str, float], per_volt: float) -> None:
    (out,) = sine(stage(name, f"dc 0 sin(0 {4 * per_volt:.4g} 1k)", rails), 1e3)
    assert harmonics(out)[0] == pytest.approx(4, rel=0.04)  # 4 V peak in 8 ohm: 1 W
    assert distortion(out) < 3e-3


@pytest.mark.parametrize(("name", "rails", "per_volt"), CLASS_AB)
def test_power_at_the_onset_of_clipping(name: str, rails: dict[str, float], per_volt: float) -> None:
    """P = (V - drop)^2/(2 R), V being what one half has: a rail, or half of the one supply; 1 V to 5 V are lost."""

    def excess(peak: float) -> float:
        (out,) = sine(stage(name, f"dc 0 sin(0 {peak * per_volt:g} 1k)", rails), 1e3)
        return distortion(out) - 1e-2

    half = rails["vp"] if "vn" in rails else rails["vp"] / 2
    peak = float(optimize.brentq(excess, half / 2, 1.15 * half, xtol=0.1))
    assert half - 5 < peak < half - 1


@pytest.mark.parametrize(("name", "rails", "per_volt"), CLASS_AB)
def test_quiescent_current_follows_the_bias_network(name: str, rails: dict[str, float], per_volt: float) -> None:
    """[SS] V = V_BE (1 + R1/R2) over four junctions: some 20 mA as drawn, next to none with R1 a fifth smaller."""

    def quiescent(**instead: float) -> float:
        point = run(stage(name, "dc 0", rails, **instead), "op")
        return float((point["xs.e1"] - point["xs.o"])[0].real / 0.22)

    assert 0.005 < quiescent() < 0.06
    assert quiescent(RB1=1870 * 0.8) < 0.1 * quiescent()


def test_the_quasi_complementary_halves_share_the_load() -> None:
    """[LIN] each half carries its own half of the sine: the lower one from the lower rail through RE2."""
    out, upper, lower = sine(stage("classab-quasi", "dc 0 sin(0 0.5 1k)", RAILS), 1e3, ("out", "xs.e1", "xs.e2"))
    top, bottom = np.argmax(out), np.argmin(out)
    assert (upper - out)[top] / 0.22 == pytest.approx(out[top] / 8, rel=0.05)
    assert (lower[bottom] + 28) / 0.22 == pytest.approx(-out[bottom] / 8, rel=0.08)


def test_the_output_capacitor_makes_the_bass_corner() -> None:
    """1/(2 pi RL C) from the output ahead of the capacitor; it rests at half of the supply, the load at zero."""
    lines = stage("classab-single-supply", "dc 0 ac 1", ONE)
    frequency = 1 / (2 * np.pi * (8 * 1000 / 1008) * 2200e-6)
    result = run(lines, f"ac lin 1 {frequency:g} {frequency:g}")
    assert abs(result["out"][0] / result["xs.o"][0]) == pytest.approx(2**-0.5, rel=1e-3)
    point = run(stage("classab-single-supply", "dc 0", ONE), "op")
    assert point["xs.o"][0].real == pytest.approx(18, abs=1.5)
    assert point["out"][0].real == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(("name", "rails", "per_volt"), CLASS_AB)
def test_a_square_wave_dies_down(name: str, rails: dict[str, float], per_volt: float) -> None:
    """Into 8 ohm, with 100 nF across where there is an output coil: no oscillation, overshoot below a half."""
    volts = 2 * per_volt
    lines = [*stage(name, f"dc 0 pulse({-volts:g} {volts:g} 20u 1u 1u 100u 200u)", rails)]
    lines += ["Cload out 0 100n"] if name == "classab-quasi" else []
    result = run(lines, "tran 0.2u 400u 0 0.2u")
    time, out = result["time"], result["out"]
    late = out[(time > 310e-6) & (time < 319e-6)]
    top = out[(time > 225e-6) & (time < 319e-6)]
    assert np.ptp(late) < 20e-3
    assert (top.max() - late.mean()) / (2 * 2) < 0.5


def test_the_servo_holds_dc_and_makes_the_corner() -> None:
    """An input offset is taken away; the loop's corner is (1 + RF/RG) k/(2 pi RI CI) with k = R/(R + RSV), R being RIN
    with the source's side in parallel: an integrator in a feedback loop, common textbook result, from memory, to be
    verified.
    """
    rails = {"vp": 25.0, "vn": -25.0, "sp": 12.0, "sn": -12.0}
    off = stage("power-amp-servo", "dc 0", rails)
    power = off.index(".subckt poweramp-integrated inp inn vp vn out")
    off[power:] = [line.replace("vos a inp 0", "vos a inp 20m") for line in off[power:]]
    assert run(off, "op")["out"][0].real == pytest.approx(0, abs=2e-3)
    without = [line.replace("RSV so inp 220000", "RSV so inp 1e12") for line in off]
    assert run(without, "op")["out"][0].real == pytest.approx(20e-3 * 23, rel=0.3)
    # the source on the input itself, through as much as RIN: then the loop alone makes the corner
    lines = stage("power-amp-servo", "dc 0 ac 1", rails)
    lines = [line.replace("CIN in inp 2.2e-06", "RSOURCE in inp 22k") for line in lines]
    expected = 23 * (11e3 / (11e3 + 220e3)) / (2 * np.pi * 1e6 * 470e-9)
    assert corner(lines, 1e3, 0.05, 50) == pytest.approx(expected, rel=0.05)


def test_the_line_driver_drops_6_db_when_a_leg_dies() -> None:
    """With one leg dead, a balanced input sees half of the voltage (common practice, no source)."""
    rails = {"vp": 15.0, "vn": -15.0}
    lines = stage("line-driver", "dc 0 ac 1", rails)
    open_ended = [line.replace(" 600", " 1e9") if line.startswith("Rload") else line for line in lines]
    whole = run(open_ended, "ac lin 1 1k 1k")
    dead = run([line.replace("RI2 d1 inn2 10000", "RI2 d1 inn2 1e9") for line in open_ended], "ac lin 1 1k 1k")
    ratio = abs((dead["out"] - dead["outn"])[0] / (whole["out"] - whole["outn"])[0])
    assert 20 * np.log10(ratio) == pytest.approx(-6.02, abs=0.05)


def test_headphones_get_what_the_divider_leaves() -> None:
    rails = {"vp": 12.0, "vn": -12.0}
    assert abs(level(stage("headphone-driver", "dc 0 ac 1", rails), 1e3)) == pytest.approx(
        (1 + 10 / 4.7) * 32 / (32 + 22), rel=0.01
    )
    (out,) = sine(stage("headphone-driver", "dc 0 sin(0 1 1k)", rails), 1e3)
    assert distortion(out) < 2e-3


def test_the_relay_pulls_in_after_its_delay() -> None:
    """RT CT ln(V/(V - VZ - V_BE)) = 2.3 s, charging a capacitor; before it the contact is open (within a tenth)."""
    lines = stage("protection-relay", "dc 1", {"vp": 24.0})
    lines = [line if not line.startswith("Vp ") else "Vp vp 0 pulse(0 24 0 1m 1m 100 200)" for line in lines]
    result = run(lines, "tran 5m 4 0 5m")
    time, out = result["time"], result["out"]
    at = float(time[np.argmax(out > 0.5)])
    assert at == pytest.approx(22e3 * 100e-6 * np.log(24 / (24 - 15.6)), rel=0.1)
    assert np.abs(out[time < at - 0.1]).max() < 1e-3
