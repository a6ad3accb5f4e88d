"""Filters, tone controls and gain cells of the library against published closed forms.

Sources
-------
[SK] R. P. Sallen and E. L. Key, "A Practical Method of Designing RC Active Filters", IRE Trans. Circuit Theory CT-2
(1955), for both second-order sections.
[KHN] W. J. Kerwin, L. P. Huelsman and R. W. Newcomb, "State-Variable Synthesis for Insensitive Integrated Circuit
Transfer Functions", IEEE J. Solid-State Circuits SC-2 (1967).
[L76] S. H. Linkwitz, "Active Crossover Networks for Noncoincident Drivers", J. Audio Eng. Soc. 24 (1976).
[B52] P. J. Baxandall, "Negative-Feedback Tone Control", Wireless World, October 1952.
[HH] P. Horowitz and W. Hill, *The Art of Electronics*, 3rd ed., on JFETs as variable resistors.
Formulas from memory, to be verified. What is no more than voltage division needs no source.
"""

from __future__ import annotations

from math import atan, degrees, pi, sqrt

import numpy as np
import pytest
from scipy import signal

from tests.circuits.examples import EXAMPLES
from tests.circuits.solve import facts, powered, run

Parts = dict[str, float | str]
FREQUENCIES = np.geomspace(20, 20e3, 31)


def one(
    name: str, parts: Parts, frequency: float, at: str = "out", load: float = 10e3, volts: object = 15.0
) -> complex:
    """Return the small-signal response of a stage to 1 V."""
    lines = powered(name, parts, "dc 0 ac 1", load, volts)  # type: ignore[arg-type]
    return complex(run(lines, f"ac lin 1 {frequency:.9g} {frequency:.9g}")[at][0])


UNEQUAL = {"R1": 12e3, "R2": 8.2e3, "C1": 6.8e-9, "C2": 3.3e-9, "U": "opamp-jfet"}
GAINED = {"R1": 10e3, "R2": 10e3, "C1": 10e-9, "C2": 10e-9, "RF": 5.9e3, "RG": 10e3, "U": "opamp-jfet"}


@pytest.mark.parametrize("way", ["low", "high"])
@pytest.mark.parametrize("parts", [UNEQUAL, GAINED], ids=["gain of one", "with gain"])
def test_corner_and_q_of_the_second_order_sections(way: str, parts: Parts) -> None:
    """[SK] w0² = 1/(R1 R2 C1 C2); w0/Q is 1/(R1 C1) + 1/(R2 C1) + (1-K)/(R2 C2) of the low-pass, and
    1/(R2 C2) + 1/(R2 C1) + (1-K)/(R1 C1) of the high-pass, whose resistors and capacitors have changed places."""
    r1, r2, c1, c2 = (float(parts[key]) for key in ("R1", "R2", "C1", "C2"))
    gain = 1 + float(parts.get("RF", 0.0)) / float(parts.get("RG", 1.0))
    w0 = 1 / sqrt(r1 * r2 * c1 * c2)
    s = 2j * pi * FREQUENCIES
    if way == "low":
        damping = 1 / (r1 * c1) + 1 / (r2 * c1) + (1 - gain) / (r2 * c2)
        expected = gain * w0**2 / (s**2 + s * damping + w0**2)
    else:
        damping = 1 / (r2 * c2) + 1 / (r2 * c1) + (1 - gain) / (r1 * c1)
        expected = gain * s**2 / (s**2 + s * damping + w0**2)
    found = np.array([one(f"sallen-key-{way}", parts, f) for f in FREQUENCIES])
    # the op-amp's own bandwidth of 3.5 MHz is not in the formula
    np.testing.assert_allclose(found, expected, rtol=0.03, atol=2e-3)


def test_a_fourth_order_crossover_adds_up_to_a_flat_sum() -> None:
    """[L76] Two Butterworth sections in cascade each way: both 6 dB down at the corner and in phase everywhere, and
    their sum is as large as the input at every frequency."""
    low = {"R1": 10e3, "R2": 10e3, "C1": 22.508e-9, "C2": 11.254e-9, "U": "opamp-lownoise"}
    high = {"C1": 10e-9, "C2": 10e-9, "R1": 11.254e3, "R2": 22.508e3, "U": "opamp-lownoise"}
    corner = 1000.0
    frequencies = np.append(FREQUENCIES, corner)
    lows = np.array([one("sallen-key-low", low, f) for f in frequencies]) ** 2
    highs = np.array([one("sallen-key-high", high, f) for f in frequencies]) ** 2
    assert abs(lows[-1]) == pytest.approx(0.5, rel=0.01)
    assert abs(highs[-1]) == pytest.approx(0.5, rel=0.01)
    assert np.abs(np.angle(lows / highs)[(frequencies > 200) & (frequencies < 5000)]).max() < np.radians(3)
    assert np.abs(20 * np.log10(np.abs(lows + highs))).max() < 0.1


def test_a_second_order_crossover_adds_up_with_one_way_turned_over() -> None:
    """[L76] Q of one half: 6 dB down at the corner, in opposite phase; [KHN] the loop gives both ways at once."""
    parts, load, volts = EXAMPLES["state-variable-crossover"]
    corner = 1 / (2 * pi * 10e3 * 15e-9)
    for f in (*FREQUENCIES[::3], corner):
        low, high = (one("state-variable-crossover", parts, f, at, load, volts) for at in ("out", "hp"))
        assert abs(low - high) == pytest.approx(1, abs=0.01)
        if f == corner:
            assert abs(low) == pytest.approx(0.5, rel=0.01)
            assert abs(np.angle(low / high)) == pytest.approx(pi, abs=0.02)


@pytest.mark.parametrize(("rb", "rq"), [(10e3, 20e3), (47e3, 10e3), (100e3, 10e3)])
def test_q_of_the_state_variable_filter(rb: float, rq: float) -> None:
    """[KHN] With equal resistors at the summing amplifier Q = (1 + RB/RQ)/3, and all three outputs share w0."""
    parts, load, volts = EXAMPLES["state-variable-crossover"]
    parts = {**parts, "RB": rb, "RQ": rq}
    s = 2j * pi * FREQUENCIES
    w0, q = 1 / (10e3 * 15e-9), (1 + rb / rq) / 3
    bottom = s**2 + s * w0 / q + w0**2
    for at, top in (("out", w0**2 + 0 * s), ("hp", s**2)):
        found = np.array([one("state-variable-crossover", parts, f, at, load, volts) for f in FREQUENCIES])
        np.testing.assert_allclose(found, -top / bottom, rtol=0.04, atol=2e-3)


def test_the_all_pass_turns_the_phase_and_leaves_the_level() -> None:
    """H = (1 - s RP CP)/(1 + s RP CP): level one, phase -2 arctan(w RP CP), a quarter turn at 1/(2 pi RP CP)."""
    parts, load, volts = EXAMPLES["all-pass"]
    time = 10e3 * 15e-9
    for f in (*FREQUENCIES[::3], 1 / (2 * pi * time)):
        found = one("all-pass", parts, f, "out", load, volts)
        assert abs(found) == pytest.approx(1, abs=2e-3)
        assert np.degrees(np.angle(found)) == pytest.approx(-2 * degrees(atan(2 * pi * f * time)), abs=1.5)
    assert np.degrees(np.angle(found)) == pytest.approx(-90, abs=0.3)


def test_the_twin_t_has_its_null_and_its_slopes() -> None:
    """H = (1 - x²)/(1 - x² + 4jx) with x = f/f0 and f0 = 1/(2 pi R C): a network symmetrical about its null."""
    parts: Parts = {"U": "opamp-jfet", "R1": 10e3, "R2": 10e3, "R3": 5e3, "C1": 10e-9, "C2": 10e-9, "C3": 20e-9}
    null = 1 / (2 * pi * 10e3 * 10e-9)
    for f in FREQUENCIES:
        x = f / null
        expected = (1 - x**2) / (1 - x**2 + 4j * x)
        assert one("twin-t-notch", parts, f) == pytest.approx(expected, abs=8e-3)  # the op-amp's bandwidth
    assert abs(one("twin-t-notch", parts, null)) < 1e-3


@pytest.mark.parametrize(("part", "times"), [("R1", 1.05), ("C3", 0.95), ("R3", 1.05)])
def test_a_part_off_value_fills_the_notch(part: str, times: float) -> None:
    """Common practice, no source: five per cent leave some 1 % of the notched frequency, 40 dB down and no more."""
    parts: Parts = {"U": "opamp-jfet", "R1": 10e3, "R2": 10e3, "R3": 5e3, "C1": 10e-9, "C2": 10e-9, "C3": 20e-9}
    found = abs(one("twin-t-notch", {**parts, part: float(parts[part]) * times}, 1 / (2 * pi * 1e-4)))
    assert 3e-3 < found < 0.03


def test_the_rumble_filter_is_a_third_order_butterworth() -> None:
    """Magnitude 1/sqrt(1 + (fc/f)^6), from scipy.signal.butter; the resistors are those of [example]'s note, exact."""
    corner, farads = 25.0, 100e-9
    base = 1 / (2 * pi * corner * farads)
    parts: Parts = {"U": "opamp-jfet", **dict.fromkeys(("C1", "C2", "C3"), farads),
                    "R1": base / 1.392, "R2": base / 3.546, "R3": base / 0.2024}  # fmt: skip
    frequencies = np.geomspace(5, 500, 15)
    b, a = signal.butter(3, 2 * pi * corner, "highpass", analog=True)
    expected = np.abs(signal.freqs(b, a, 2 * pi * frequencies)[1])
    found = [abs(one("rumble-filter", parts, f)) for f in frequencies]
    np.testing.assert_allclose(found, expected, rtol=5e-3)


def pot(ohms: float, share: float) -> str:
    """Return a potentiometer as the stages' netlists take it."""
    return f"potentiometer R={ohms:g} K={share:g}"


@pytest.mark.parametrize("bass", [0.0, 0.1, 0.5, 1.0])
@pytest.mark.parametrize("treble", [0.0, 0.1, 0.5, 1.0])
def test_the_passive_tone_control_at_both_ends_of_the_band(bass: float, treble: float) -> None:
    """Voltage division: at the lowest frequencies the capacitors are gone, at the highest they are wires."""
    parts = {**EXAMPLES["tone-passive"][0], "RVB": pot(100e3, bass), "RVT": pot(100e3, treble)}
    low = (1e3 + bass * 100e3) / (10e3 + 100e3 + 1e3)
    assert abs(one("tone-passive", parts, 1e-2, load=1e12)) == pytest.approx(low, rel=2e-3)
    if 0 < treble < 1:
        above, below = 1 / ((1 - treble) * 100e3), 1 / (treble * 100e3)
        bass_ohms, bass_volts = 10e3 + 10e3 * 1e3 / 11e3, 1 / 11
        high = (above + bass_volts / bass_ohms) / (above + below + 1 / bass_ohms)
    else:
        high = treble
    assert abs(one("tone-passive", parts, 1e8, load=1e12)) == pytest.approx(high, rel=2e-3, abs=1e-4)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
def test_the_active_tone_control_at_the_low_end(share: float) -> None:
    """[B52] The bass network is an inverting stage whose arms the control divides: flat in the middle, and as much cut
    at one end as boost at the other."""
    parts, load, volts = EXAMPLES["tone-active"]
    gain = -(10e3 + share * 100e3) / (10e3 + (1 - share) * 100e3)
    found = one("tone-active", {**parts, "RVB": pot(100e3, share)}, 0.01, "out", load, volts)
    assert found.real == pytest.approx(gain, rel=2e-3)
    mirrored = one("tone-active", {**parts, "RVB": pot(100e3, 1 - share)}, 0.01, "out", load, volts)
    assert found * mirrored == pytest.approx(1, rel=3e-3)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
def test_the_active_tone_control_at_the_high_end(share: float) -> None:
    """[B52] With the capacitors as wires the bass network is a star of R1, R2 and R3 whatever its control, and the
    treble control divides R4 + RVT + R5; their currents into the op-amp's input cancel. Capacitors a thousandfold, so
    that this end lies where the op-amp still has gain."""
    parts, load, volts = EXAMPLES["tone-active"]
    large = {key: 1000 * float(parts[key]) for key in ("C1", "C2", "C3")}
    star = 1 / 10e3 / 10e3 / (3 / 10e3)  # conductance from input, or from output, to the op-amp by way of the star
    ahead, back = 1 / (3.3e3 + (1 - share) * 100e3), 1 / (3.3e3 + share * 100e3)
    gain = -(ahead + star) / (back + star)
    found = one("tone-active", {**parts, **large, "RVT": pot(100e3, share)}, 1e3, "out", load, volts)
    assert found.real == pytest.approx(gain, rel=0.01)


@pytest.mark.parametrize("control", [-0.8, -1.2, -1.4, -1.5])
def test_a_jfet_as_a_resistor(control: float) -> None:
    """[HH] r = r0/(1 - Vgs/Vp) with r0 = 1/(2 beta |Vp|) of the square law, and its bulk resistances in series."""
    parts, load, _ = EXAMPLES["gain-cell-jfet"]
    resistance = 1 / (2 * 1.6e-3 * (1.6 + control)) + 16
    found = abs(one("gain-cell-jfet", parts, 1e3, "out", load, {"vc": control}))
    assert found == pytest.approx(resistance / (10e3 + resistance), rel=0.01)


def test_half_of_the_signal_at_the_gate_halves_the_distortion_and_more() -> None:
    """[HH] Half of the drain's voltage added to the gate's takes the square out of the drain current."""
    parts, load, volts = EXAMPLES["gain-cell-jfet"]

    def second_harmonic(fitted: Parts) -> float:
        lines = powered("gain-cell-jfet", fitted, "dc 0 sin(0 0.7 1k)", load, volts)
        result = run(lines, "tran 2u 20m 10m 2u")
        time = np.linspace(10e-3, 20e-3, 10000, endpoint=False)
        spectrum = np.abs(np.fft.rfft(np.interp(time, result["time"], result["out"])))
        return float(spectrum[20] / spectrum[10])

    assert second_harmonic(parts) < second_harmonic({**parts, "RD": 1e12}) / 10


@pytest.mark.parametrize("current", [10e-6, 100e-6, 1e-3, 10e-3])
def test_the_photocells_resistance_goes_with_a_power_of_the_lamps_current(current: float) -> None:
    """Makers of such cells state R = R1 (I1/I)^gamma with gamma 0.7 to 0.9 (from memory, to be verified)."""
    known = facts("models", "photocell-led")["facts"]
    model = [
        line for line in powered("gain-cell-photocell", EXAMPLES["gain-cell-photocell"][0], "dc 0") if line[0] != "X"
    ]
    lines = [*model[:-3], f"Ilamp 0 a {current:g}", "Xpc a 0 c 0 photocell-led", "Itest 0 c dc 0 ac 1"]
    found = run(lines, "ac lin 1 1k 1k")["c"][0].real
    lit = known["resistance_at_1_ma"] * (1e-3 / current) ** known["gamma"]
    assert found == pytest.approx(1 / (1 / lit + 1 / known["dark_resistance"]), rel=5e-3)
