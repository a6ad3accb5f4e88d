"""The library's stages against the textbook.

Sources
-------
[SS] A. S. Sedra and K. C. Smith, *Microelectronic Circuits*, Oxford University Press: the chapters on operational
amplifiers (closed-loop bandwidth, full-power bandwidth), on biasing a discrete bipolar stage with a divider, and on
output stages (class-B efficiency, the V_BE multiplier). Formulas from memory, to be verified against an edition.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, signal

from tests.circuits.examples import BOOTSTRAP, EXAMPLES, MIRROR
from tests.circuits.solve import facts, powered, run

OPAMPS = ["opamp-bipolar", "opamp-jfet", "opamp-lownoise"]
THERMAL = 0.025865  # kT/q at 27 degrees C [V], CODATA constants
CLASS_AB = [("classab-mirror", MIRROR), ("classab-bootstrap", BOOTSTRAP)]


def level(lines: list[str], frequency: float) -> complex:
    """Return the small-signal output for 1 V in."""
    return complex(run(lines, f"ac lin 1 {frequency:g} {frequency:g}")["out"][0])


def corner(lines: list[str], reference: float, start: float, stop: float) -> float:
    """Return where the output is 3 dB below that at the reference frequency [Hz]."""
    wanted = abs(level(lines, reference)) / np.sqrt(2)
    exponent = optimize.brentq(lambda x: abs(level(lines, 10**x)) - wanted, np.log10(start), np.log10(stop), xtol=1e-5)
    return float(10**exponent)


def sine(lines: list[str], frequency: float, names: tuple[str, ...] = ("out",)) -> list[np.ndarray]:
    """Return two settled periods of the vectors named, 2048 samples each period."""
    step = 1 / frequency / 400
    result = run(lines, f"tran {step:g} {6 / frequency:g} 0 {step:g}")
    time = np.linspace(4 / frequency, 6 / frequency, 4096, endpoint=False)
    return [np.interp(time, result["time"], result[name]) for name in names]


def harmonics(samples: np.ndarray) -> np.ndarray:
    """Return the peak amplitudes of the fundamental and its harmonics, two periods sampled."""
    return np.asarray(np.abs(np.fft.rfft(samples))[2:60:2] * 2 / len(samples))


def distortion(samples: np.ndarray) -> float:
    """Return total harmonic distortion as a fraction of the fundamental."""
    lines = harmonics(samples)
    return float(np.linalg.norm(lines[1:]) / lines[0])


@pytest.mark.parametrize("opamp", OPAMPS)
@pytest.mark.parametrize(("rf", "rg"), [(9e3, 1e3), (1e3, 1e3), (47e3, 1e3)])
def test_noninverting_gain_and_bandwidth(opamp: str, rf: float, rg: float) -> None:
    """[SS] G = (1 + R2/R1) / (1 + (1 + R2/R1)/A) and f_3dB = f_t / (1 + R2/R1).

    The output resistance, loaded by R1 + R2, and the input capacitance are not in the formula: within 10 %.
    """
    lines = powered("noninverting", {"U": opamp, "RF": rf, "RG": rg}, "dc 0 ac 1")
    known = facts("models", opamp)["facts"]
    gain = 1 + rf / rg
    assert abs(level(lines, 10)) == pytest.approx(gain / (1 + gain / known["open_loop_gain"]), rel=1e-4)
    assert corner(lines, 10, 1e3, 50e6) == pytest.approx(known["gain_bandwidth"] / gain, rel=0.1)


@pytest.mark.parametrize("opamp", OPAMPS)
@pytest.mark.parametrize(("rf", "rin"), [(10e3, 1e3), (1e3, 1e3)])
def test_inverting_gain_and_bandwidth(opamp: str, rf: float, rin: float) -> None:
    """[SS] G = -R2/R1 and f_3dB = f_t / (1 + R2/R1): at a gain of one it has half the follower's bandwidth."""
    lines = powered("inverting", {"U": opamp, "RF": rf, "RIN": rin}, "dc 0 ac 1")
    known = facts("models", opamp)["facts"]
    assert level(lines, 10).real == pytest.approx(-rf / rin, rel=5e-4)
    assert corner(lines, 10, 1e3, 50e6) == pytest.approx(known["gain_bandwidth"] / (1 + rf / rin), rel=0.1)


@pytest.mark.parametrize("opamp", OPAMPS)
def test_slew_rate_sets_the_full_power_bandwidth(opamp: str) -> None:
    """[SS] f_M = SR / (2 pi V): at half of it the sine is whole, at three times it is a triangle of slope SR."""
    slew_rate = facts("models", opamp)["facts"]["slew_rate"]
    full_power = slew_rate / (2 * np.pi * 10)
    lines = powered("buffer", {"U": opamp}, f"dc 0 sin(0 10 {full_power / 2:g})", load=10e3)
    assert harmonics(sine(lines, full_power / 2)[0])[0] == pytest.approx(10, rel=0.05)
    lines = powered("buffer", {"U": opamp}, f"dc 0 sin(0 10 {3 * full_power:g})", load=10e3)
    (out,) = sine(lines, 3 * full_power)
    slope = np.abs(np.gradient(out, 1 / (3 * full_power) / 2048)).max()
    assert slope == pytest.approx(slew_rate, rel=0.06)


def test_coupling_network_against_scipy() -> None:
    """Series capacitor into the bias resistor, then series resistor and shunt capacitor, by scipy.signal.freqs."""
    r_b, r_s, c_in, c_s = 47e3, 1e3, 1e-6, 10e-9
    lines = powered("coupling", {"CIN": c_in, "RB": r_b, "RS": r_s, "CS": c_s}, "dc 0 ac 1", load=1e12)
    # node equations of the ladder, by hand
    numerator = [r_b * c_in, 0]
    denominator = [r_b * c_in * r_s * c_s, r_b * c_in + (r_b + r_s) * c_s, 1]
    for frequency in (1.0, 3.386, 40.0, 500.0, 15_915.0, 100_000.0):
        _, expected = signal.freqs(numerator, denominator, [2 * np.pi * frequency])
        assert level(lines, frequency) == pytest.approx(expected[0], rel=1e-6)
    plain = powered("coupling", {"CIN": c_in, "RB": r_b}, "dc 0 ac 1", load=1e12)
    assert corner(plain, 10e3, 0.1, 100) == pytest.approx(1 / (2 * np.pi * r_b * c_in), rel=1e-3)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 1.0])
def test_level_control_divides_as_a_loaded_divider(share: float) -> None:
    """Ohm's law: lower half and load in parallel, upper half in series; the wiper's 0.1 ohm counts for nothing."""
    lines = powered("level", {"RV": f"potentiometer R=10k K={share}"}, "dc 0 ac 1", load=10e3)
    upper, lower = 10e3 * (1 - share), 10e3 * share
    loaded = lower * 10e3 / (lower + 10e3)
    assert abs(level(lines, 500)) == pytest.approx(loaded / (upper + loaded), rel=1e-4, abs=1e-6)


def test_common_emitter_operating_point() -> None:
    """[SS] I_E = (V_BB - V_BE) / (R_E + R_BB / (beta + 1)) with the divider as its Thevenin equivalent."""
    parts, load, volts = EXAMPLES["common-emitter"]
    r1, r2, rc, re = 47e3, 10e3, 4.7e3, 1e3
    v_bb, r_bb, beta, saturation = volts * r2 / (r1 + r2), r1 * r2 / (r1 + r2), 250, 1e-14
    current = 1e-3
    for _ in range(20):
        current = (v_bb - THERMAL * np.log(current / saturation)) / (re + r_bb / (beta + 1))
    result = run(powered("common-emitter", parts, "dc 0", load, volts), "op")
    assert result["xs.e"][0].real / re == pytest.approx(current, rel=0.03)
    # the 100 k load takes its share
    collector = (volts - rc * current * beta / (beta + 1)) * load / (load + rc)
    assert result["out"][0].real == pytest.approx(collector, abs=0.04 * rc * current)


def test_common_emitter_gain_with_and_without_bypass() -> None:
    """[SS] A = -g_m (R_C || r_o || R_L) with the emitter bypassed, -R_C' / (R_E + r_e) without."""
    parts, load, volts = EXAMPLES["common-emitter"]
    result = run(powered("common-emitter", parts, "dc 0", load, volts), "op")
    current = result["xs.e"][0].real / 1e3
    across = (result["out"] - result["xs.e"])[0].real
    conductance = 1 / (THERMAL / current + 0.3 + 80 / 250)  # the model's emitter and base resistance in series
    collector = 1 / (1 / 4.7e3 + 1 / load + current / (80 + across))
    assert level(powered("common-emitter", parts, "dc 0 ac 1", load, volts), 10e3).real == pytest.approx(
        -conductance * collector, rel=0.05
    )
    bare = {role: value for role, value in parts.items() if role != "CE"}
    simple = -1 / (1 / 4.7e3 + 1 / load) / (1e3 + THERMAL / current)
    gain = level(powered("common-emitter", bare, "dc 0 ac 1", load, volts), 10e3).real
    assert gain == pytest.approx(simple, rel=0.02)


@pytest.mark.parametrize(("name", "parts"), CLASS_AB)
def test_class_ab_at_rest_and_at_one_watt(name: str, parts: dict[str, float | str]) -> None:
    """Offset, gain 1 + RF/RG and distortion at 1 W (common practice, no source)."""
    rest = run(powered(name, parts, "dc 0", 8, 28), "op")
    assert abs(rest["out"][0].real) < 0.05
    (out,) = sine(powered(name, parts, "dc 0 sin(0 0.174 1k)", 8, 28), 1e3)
    assert harmonics(out)[0] == pytest.approx(0.174 * 23, rel=0.01)
    assert harmonics(out)[0] ** 2 / 16 == pytest.approx(1, rel=0.03)
    assert distortion(out) < 1e-3


@pytest.mark.parametrize(("name", "parts"), CLASS_AB)
def test_class_ab_power_at_onset_of_clipping(name: str, parts: dict[str, float | str]) -> None:
    """P = (V_rail - drop)^2 / (2 R): some 3 V are lost to two junctions, RE and the driving stage.

    The loss is common practice, no source; onset is taken at 0.1 % distortion, well above that of the unclipped sine.
    """

    def excess(peak: float) -> float:
        (out,) = sine(powered(name, parts, f"dc 0 sin(0 {peak:g} 1k)", 8, 28), 1e3)
        return distortion(out) - 1e-3

    peak = float(optimize.brentq(excess, 0.95, 1.3, xtol=2e-3))
    (out,) = sine(powered(name, parts, f"dc 0 sin(0 {peak:g} 1k)", 8, 28), 1e3)
    power = harmonics(out)[0] ** 2 / (2 * 8)
    assert (28 - 4) ** 2 / 16 < power < (28 - 2) ** 2 / 16
    assert out.max() == pytest.approx(25, abs=1)
    assert out.min() == pytest.approx(-25, abs=1)


@pytest.mark.parametrize(("name", "parts"), CLASS_AB)
@pytest.mark.parametrize("peak", [0.4, 1.08])
def test_class_ab_efficiency_stays_below_class_b(name: str, parts: dict[str, float | str], peak: float) -> None:
    """[SS] class B: eta = (pi/4) (V_peak / V_rail), at most pi/4; what flows at rest costs some of it."""
    lines = powered(name, parts, f"dc 0 sin(0 {peak} 1k)", 8, 28)
    out, upper, lower = sine(lines, 1e3, ("out", "vp#branch", "vn#branch"))
    drawn = 28 * np.mean(-upper) + 28 * np.mean(lower)
    efficiency = np.mean(out**2) / 8 / drawn
    ideal = np.pi / 4 * out.max() / 28
    assert 0.85 * ideal < efficiency < ideal < np.pi / 4


@pytest.mark.parametrize(("name", "parts"), CLASS_AB)
def test_class_ab_quiescent_current_follows_from_the_bias_network(name: str, parts: dict[str, float | str]) -> None:
    """[SS] V_BE multiplier: V = V_BE (1 + R1/R2), plus its base current in R1, over two drivers, two outputs, two RE.

    Junctions by the diode law with each model's saturation current, Early voltage and series resistance, without
    high-level injection. 5 mV in a loop of 2.5 V are worth some 5 mA here: within 20 %.
    """
    rest = run(powered(name, parts, "dc 0", 8, 28), "op")
    r1, r2, rd, re = 1870.0, 680.0, 220.0, 0.22
    # what feeds the multiplier: its current source, or the bootstrap resistors
    node, series = ("xs.se", 100) if name == "classab-mirror" else ("xs.top", 4400)
    total = (28 - rest[node][0].real) / series

    def junction(current: float, saturation: float, ohms: float, across: float, early: float) -> float:
        return float(THERMAL * np.log(current / (saturation * (1 + across / early))) + current * ohms)

    def excess(quiescent: float) -> float:
        outputs = sum(junction(quiescent, 2e-12, 0.01 + 1 / 90, 28, early) for early in (90, 70))
        pair = outputs + 2 * re * quiescent
        driver = pair / rd + quiescent / 90
        drivers = sum(junction(driver, 1e-13, 0.05 + 8 / 125, 28, early) for early in (100, 80))
        v_be = 0.63
        for _ in range(20):
            through = total - driver / 125 - v_be / r2  # less what the drivers' base and R2 take
            v_be = junction(through, 1e-13, 0.05 + 8 / 130, 2, 100)
        return float(v_be * (1 + r1 / r2) + through / 130 * r1 - pair - drivers)

    expected = float(optimize.brentq(excess, 1e-5, 1))
    quiescent = (rest["xs.e1"] - rest["xs.o"])[0].real / re
    assert 0.010 < quiescent < 0.040
    assert quiescent == pytest.approx(expected, rel=0.2)


@pytest.mark.parametrize(("name", "parts"), CLASS_AB)
@pytest.mark.parametrize("load", [[], ["Cload out 0 100n"]])
def test_class_ab_is_stable(name: str, parts: dict[str, float | str], load: list[str]) -> None:
    """A square wave dies down into 8 ohm and into 8 ohm with 100 nF (common practice, no source)."""
    lines = powered(name, parts, "dc 0 pulse(-0.1 0.1 20u 1u 1u 100u 200u)", 8, 28) + load
    result = run(lines, "tran 0.2u 400u 0 0.2u")
    time, out = result["time"], result["out"]
    late = out[(time > 310e-6) & (time < 319e-6)]
    assert np.ptp(late) < 5e-3
    top = out[(time > 225e-6) & (time < 319e-6)]
    step = out[(time > 310e-6) & (time < 319e-6)].mean() - out[(time > 210e-6) & (time < 219e-6)].mean()
    assert (top.max() - late.mean()) / step < 0.25
