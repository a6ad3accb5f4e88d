"""Supplies against the textbook and Schade.

Sources
-------
[SCH] O. H. Schade, "Analysis of rectifier operation", Proc. IRE 31 (1943), pp. 341-361: DC voltage of a full-wave
    rectifier into a large capacitor, by the source resistance's share of the load (points from memory, to be verified).
[LIM] The same for an infinite capacitor, in closed form: Edc = Ep cos(t) with tan(t) - t = pi Rs / (2 RL), t being half
    of the conduction angle (derivation from memory, to be verified).
The bound I/(2 f C) of full-wave ripple, f the mains' frequency: the capacitor alone feeds the load for half a period at
most; common textbook result.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.unit import open_unit
from tests.circuits.solve import run, stage
from tests.published.conftest import pool  # noqa: F401
from tests.published.mains import look
from tests.published.mains_texts import SUPPLIED

BRIDGE: dict[str, float | str] = {"F": 0.02, "T": "transformer_mains turns=1", "C": 360e-6}
BRIDGE |= {f"D{number}": "diode-rectifier-ht" for number in (1, 2, 3, 4)}


def settled(load: float, capacitance: float, start: float, leakage: str = "1u") -> tuple[float, float]:
    """Return DC and ripple [V, V peak to peak] of the bridge on 230 V, 50 Hz, into a load [ohm]."""
    lines = [line.replace("15m", leakage) for line in stage("supply-bridge", {**BRIDGE, "C": capacitance})]
    lines += ["Vin in 0 sin(0 325.27 50)", f"Rload out 0 {load:g}", "Xs in out supply-bridge", f".ic v(out)={start:g}"]
    lines += [".options method=gear reltol=1e-3"]
    result = run(lines, "tran 50u 0.4 0.3 50u")
    return float(np.trapezoid(result["out"], result["time"]) / np.ptp(result["time"])), float(np.ptp(result["out"]))


def limit(share: float) -> float:
    """Return [LIM]: DC over peak for a source resistance of this share of the load's."""
    angle = optimize.brentq(lambda t: np.tan(t) - t - np.pi * share / 2, 1e-6, 1.5)
    return float(np.cos(angle))


@pytest.mark.parametrize(("share", "schade"), [(0.01, 0.93), (0.05, 0.82), (0.10, 0.74)])
def test_dc_of_a_full_wave_rectifier(share: float, schade: float) -> None:
    """[SCH], [LIM] windings of 44 ohm in all and two diodes; omega C RL = 100 or more. Diode drops counted out."""
    load = 44 / share
    found, _ = settled(load, 120 / (2 * np.pi * 50 * load), 325 * limit(share))
    assert limit(share) == pytest.approx(schade, abs=0.015)
    assert (found + 1.5) / 325.27 == pytest.approx(limit(share), abs=0.012)
    assert (found + 1.5) / 325.27 == pytest.approx(schade, abs=0.02)


@pytest.mark.parametrize(("load", "capacitance"), [(4.4e3, 47e-6), (2e3, 100e-6), (880, 360e-6)])
def test_full_wave_ripple_stays_below_its_bound(load: float, capacitance: float) -> None:
    """I/(2 f C) is the bound; with these conduction angles 65 % to 100 % of it are there."""
    found, ripple = settled(load, capacitance, 290)
    bound = found / load / (2 * 50 * capacitance)
    assert 0.6 * bound < ripple < bound


@pytest.fixture(scope="module")
def supplied(pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Circuit:  # noqa: F811
    folder = tmp_path_factory.mktemp("supply")
    (folder / "unit.toml").write_text(SUPPLIED, encoding="utf-8")
    return build(open_unit(Path(folder)), pool)


def seen(pool: Pool, circuit: Circuit, fault: str = "") -> dict[str, tuple[float, float]]:  # noqa: F811
    """Return DC and ripple of every test point of a unit with a fault in it."""
    outcome = pool.map(look, [(circuit, fault)])[0]
    assert outcome.error is None
    return dict(zip(circuit.points, outcome.value, strict=True))


def test_a_described_supply_delivers_its_rails(pool: Pool, supplied: Circuit) -> None:  # noqa: F811
    """DC and ripple by [LIM] and the bound; the smoothing section takes 1/(2 pi 2 f R C) of the ripple through."""
    found = seen(pool, supplied)
    volts, ripple = found["C1 plus"]
    amps = volts / 6.8e3
    assert volts == pytest.approx(325 * limit(44 * amps / volts) - 1.5, rel=0.05)
    assert 0.6 < ripple / (amps / (2 * 50 * 47e-6)) < 1
    # between a sine's share and a sawtooth's: the fundamental of a sawtooth is 2/pi of its amplitude
    assert 2 / np.pi < found["C2 plus"][1] / ripple * (2 * np.pi * 100 * 10e3 * 22e-6) < 1
    assert found["C2 plus"][0] < volts


@pytest.mark.parametrize(("fault", "most"), [("F1 open", 5.0), ("T1 primary-open", 5.0), ("T1 secondary-open", 5.0)])
def test_a_lost_rail_comes_from_its_cause(pool: Pool, supplied: Circuit, fault: str, most: float) -> None:  # noqa: F811
    found = seen(pool, supplied, fault)
    assert abs(found["C1 plus"][0]) < most
    assert abs(found["V1 pin 1"][0]) < most


def test_one_open_diode_is_half_wave(pool: Pool, supplied: Circuit) -> None:  # noqa: F811
    """The capacitor then has to last twice as long: about twice the ripple, and less DC."""
    well, half = seen(pool, supplied), seen(pool, supplied, "D1 open")
    assert 1.6 < half["C1 plus"][1] / well["C1 plus"][1] < 2.6
    assert half["C1 plus"][0] < well["C1 plus"][0]


def test_a_dried_out_reservoir_ripples(pool: Pool, supplied: Circuit) -> None:  # noqa: F811
    well, dry = seen(pool, supplied), seen(pool, supplied, "C1 lost 20%")
    assert dry["C1 plus"][1] > 3 * well["C1 plus"][1]
    assert dry["C1 plus"][1] < dry["C1 plus"][0] / 6.8e3 / (2 * 50 * 0.2 * 47e-6) * 1.02  # the triode takes its share


def test_a_dried_out_reservoir_has_less_dc(pool: Pool, supplied: Circuit) -> None:  # noqa: F811
    """Integrating C dv/dt = (|e| - v)/Rs - v/RL by small steps (44 ohm, 6.8 kohm) gives 308 V at 47 uF, 301 at 9.4."""
    well, dry = seen(pool, supplied), seen(pool, supplied, "C1 lost 20%")
    assert dry["C1 plus"][0] < well["C1 plus"][0]


def integrated(capacitance: float, load: float, ohms: float = 44.0, henries: float = 23e-3) -> tuple[float, float]:
    """Return DC and ripple [V, V peak to peak] of L di/dt = |e| - two diodes - v - R i and C dv/dt = i - v/RL.

    Stepped plainly, the current never below zero; 325 V peak, 50 Hz. It knows nothing of ngspice.
    """
    step, amps, volts, seen = 2e-6, 0.0, 300.0, []
    emf = np.abs(325.27 * np.sin(2 * np.pi * 50 * step * np.arange(round(0.01 / step))))
    for half_cycle in range(60):
        for e in emf:
            amps = max(amps + step * (e - 1.5 - volts - ohms * amps) / henries, 0.0)
            volts += step * (amps - volts / load) / capacitance
            if half_cycle >= 56:
                seen.append(volts)
    return float(np.mean(seen)), float(np.ptp(seen))


@pytest.mark.parametrize(("fault", "capacitance"), [("", 47e-6), ("C1 lost 20%", 9.4e-6)])
def test_dc_and_ripple_are_those_of_the_loop_integrated_by_itself(
    pool: Pool,  # noqa: F811
    supplied: Circuit,
    fault: str,
    capacitance: float,
) -> None:
    """44 ohm of copper and 23 mH of leakage in the loop; the triode takes some 2 mA beside the bleeder."""
    found = seen(pool, supplied, fault)["C1 plus"]
    volts, ripple = integrated(capacitance, 1 / (1 / 6.8e3 + 2e-3 / 305))
    assert found[0] == pytest.approx(volts, rel=0.005)
    assert found[1] == pytest.approx(ripple, rel=0.06)
