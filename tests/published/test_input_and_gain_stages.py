"""The stages at an input, and those that raise the level, against standards and textbooks.

Sources
-------
[IEC] IEC 60098, *Analogue audio disk records and reproducing equipment*: time constants 3180, 318 and 75 us; and
7950 us, the amendment of 1976 to its forerunner. Its table at 1 kHz = 0 dB: 20 Hz +19.27, 50 Hz +16.95, 100 Hz +13.09,
200 Hz +8.22, 500 Hz +2.65, 2 kHz -2.59, 5 kHz -8.21, 10 kHz -13.73, 20 kHz -19.62 dB. Values from memory, to be
verified; they are those of the time constants, which `test_the_table_is_that_of_the_time_constants` shows.
[SS] A. S. Sedra and K. C. Smith, *Microelectronic Circuits*, Oxford University Press: the chapters on op-amps
(difference and instrumentation amplifiers, weighted summer), on discrete biasing, on differential pairs, on feedback.
Formulas from memory, to be verified against an edition.
[PS] R. Pallas-Areny and J. G. Webster, "Common mode rejection ratio in differential amplifiers", IEEE Transactions on
Instrumentation and Measurement 40 (1991): with resistors of tolerance t and a gain G, the worst ratio is
(1 + G) / (4 t). From memory, to be verified.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from tests.circuits.examples import EXAMPLES
from tests.circuits.solve import powered, run

TABLE = {20: 19.27, 50: 16.95, 100: 13.09, 200: 8.22, 500: 2.65, 1000: 0.0, 2000: -2.59, 5000: -8.21, 10_000: -13.73,
         20_000: -19.62}  # fmt: skip
THERMAL = 0.025865  # kT/q at 27 degrees C [V], CODATA constants


def riaa(frequency: float, roll_off: bool = False) -> complex:
    """The reproducing characteristic of [IEC], not scaled."""
    s = 2j * np.pi * frequency
    shape = (1 + s * 318e-6) / ((1 + s * 3180e-6) * (1 + s * 75e-6))
    return complex(shape * (s * 7950e-6 / (1 + s * 7950e-6) if roll_off else 1))


def decibels(one: complex, other: complex) -> float:
    return float(20 * np.log10(abs(one) / abs(other)))


def test_the_table_is_that_of_the_time_constants() -> None:
    for frequency, level in TABLE.items():
        assert decibels(riaa(frequency), riaa(1000)) == pytest.approx(level, abs=0.006), frequency


def response(lines: list[str], node: str = "out") -> dict[float, complex]:
    return {at: complex(run(lines, f"ac lin 1 {at} {at}")[node][0]) for at in TABLE}


@pytest.mark.parametrize("rolled_off", [False, True])
def test_phono_response_is_that_of_the_standard(rolled_off: bool) -> None:
    """Within 0.25 dB with E-series values, the least a good amplifier is held to (common practice, no source).

    Without the roll-off a ground leg of 10 mF and a coupling of 1 mF stand for none.
    """
    parts, load, volts = EXAMPLES["phono"]
    fitted = parts if rolled_off else {**parts, "CG": 10e-3, "CIN": 1e-3}
    found = response(powered("phono", fitted, "dc 0 ac 1", load, volts))
    for frequency, level in found.items():
        wanted = decibels(riaa(frequency, rolled_off), riaa(1000, rolled_off))
        assert decibels(level, found[1000]) == pytest.approx(wanted, abs=0.25), frequency


def test_phono_output_filter_makes_up_for_a_gain_that_cannot_fall_below_one() -> None:
    """[SS] a non-inverting stage's gain is 1 + Z/RG: ahead of RO and CO the treble is higher by 0.05 dB or more."""
    parts, load, volts = EXAMPLES["phono"]
    lines = powered("phono", parts, "dc 0 ac 1", load, volts)
    ahead, behind = response(lines, "xs.drive"), response(lines)
    wanted = decibels(riaa(20_000), riaa(1000))
    off = [abs(decibels(each[20_000], each[1000]) - wanted) for each in (ahead, behind)]
    assert off[1] < off[0]
    assert 0.05 < off[0] < 0.4


def both_legs(name: str, parts: dict[str, float | str], frequency: float = 1000) -> tuple[float, float]:
    """Return the output for 1 V on the hot leg alone, and for 1 V on both legs."""
    _, load, volts = EXAMPLES[name]
    lines = powered(name, parts, "dc 0 ac 1", load, volts)
    (cold,) = [line.split()[3] for line in lines if line.startswith("Xs ")]
    assert cold == "cold"
    single = run([*lines, "Vcold cold 0 dc 0"], f"ac lin 1 {frequency} {frequency}")["out"][0]
    common = run([*lines, "Vcold cold 0 dc 0 ac 1"], f"ac lin 1 {frequency} {frequency}")["out"][0]
    return abs(complex(single)), abs(complex(common))


def plain(name: str) -> dict[str, float | str]:
    """The example without coupling and small capacitors."""
    return {role: value for role, value in EXAMPLES[name][0].items() if not role.startswith("C")}


def test_receiver_rejects_what_is_the_same_on_both_legs_as_far_as_its_resistors_match() -> None:
    """[PS] the worst of all ways four resistors can be off by t is (1 + G) / (4 t); none is worse."""
    parts, share = plain("receiver"), 0.01
    ratios = []
    for signs in product((1, -1), repeat=4):
        off = {
            role: float(parts[role]) * (1 + share * sign)
            for role, sign in zip(("RH", "RG", "RC", "RF"), signs, strict=True)
        }
        single, common = both_legs("receiver", {**parts, **off})
        ratios.append(single / max(common, 1e-9))
    assert min(ratios) == pytest.approx((1 + 1) / (4 * share), rel=0.03)


@pytest.mark.parametrize("role", ["RH", "RG", "RC", "RF"])
def test_a_drifted_resistor_shows_in_common_mode_long_before_it_shows_in_the_gain(role: str) -> None:
    """[SS] the difference amplifier: 2 % of one resistor lets one per cent through, and moves the gain by as much."""
    parts = plain("receiver")
    good, hum = both_legs("receiver", parts)
    single, common = both_legs("receiver", {**parts, role: float(parts[role]) * 1.02})
    assert abs(decibels(single, good)) < 0.2
    assert common > 0.009
    assert decibels(common, hum) > 30


def test_three_op_amps_reject_more_by_the_gain_of_the_first_two() -> None:
    """[SS] the instrumentation amplifier: the buffers raise the difference and pass common mode at a gain of one."""
    parts = plain("receiver-three")
    off = {**parts, "R2": float(parts["R2"]) * 1.02}
    without = {role: value for role, value in off.items() if role != "RA"}
    (more, hum), (less, same_hum) = both_legs("receiver-three", off), both_legs("receiver-three", without)
    assert hum == pytest.approx(same_hum, rel=0.02)
    assert more / less == pytest.approx(3, rel=0.01)  # 1 + 2 RF1/RA


def test_microphone_preamplifier_gain_by_the_setting() -> None:
    """[SS] the pair's transconductance 1 / (2 re + RG'), twice RF: at both ends of the control."""
    parts, load, volts = EXAMPLES["mic-preamp"]
    for share, rest in ((1.0, 0.0), (0.0, 10e3)):
        turned = {**parts, "RV": f"potentiometer R=10k K={share}"}
        lines = powered("mic-preamp", turned, "dc 0 ac 1", load, volts)
        at_rest = run([*lines, "Vcold cold 0 dc 0"], "op")
        current = (at_rest["xs.e1"][0].real + 15) / 10e3
        between = 1 / (1 / (100 + rest) + 1 / 20e3)
        wanted = 2 * 22e3 / (2 * (THERMAL / current + 0.3 + 80 / 250) + between)
        found = abs(complex(run([*lines, "Vcold cold 0 dc 0"], "ac lin 1 1k 1k")["out"][0]))
        assert found == pytest.approx(wanted, rel=0.03)


def test_common_source_operating_point_solves_the_square_law() -> None:
    """[SS] I_D = beta (V_GS - V_t)^2 (1 + lambda V_DS) with V_GS = V_G - I_D R_S, by iteration."""
    parts, load, volts = EXAMPLES["common-source"]
    found = run(powered("common-source", parts, "dc 0", load, volts), "op")
    gate, current = 24 * 220 / 2420, 1e-3
    for _ in range(200):
        source = current * (2.7e3 + 8)
        drain = (24 / 7.5e3 - current) / (1 / 7.5e3 + 1 / load)
        wanted = 1.6e-3 * (gate - source + 1.6) ** 2 * (1 + 8e-3 * (drain - source))
        current += 0.2 * (wanted - current)
    assert found["xs.s"][0].real / 2.7e3 == pytest.approx(current, rel=0.02)
    assert found["out"][0].real == pytest.approx(drain, rel=0.02)


def test_feedback_pair_gain_is_that_of_its_feedback_with_the_loop_gain_counted_in() -> None:
    """[SS] A / (1 + A beta): opening the feedback shows A, and the loop's gain makes the closed one."""
    parts, load, volts = EXAMPLES["feedback-pair"]
    plain_pair = {role: value for role, value in parts.items() if role != "CC"}
    closed = abs(
        complex(run(powered("feedback-pair", plain_pair, "dc 0 ac 1", load, volts), "ac lin 1 1k 1k")["out"][0])
    )
    assert closed == pytest.approx(34, rel=0.05)
    # with RF huge the loop is open; RF loads the output and RE1 as before by a resistor of its own
    opened = powered("feedback-pair", {**plain_pair, "RF": 1e12}, "dc 0 ac 1", load, volts)
    opened = [line.replace("RE1 e1 0 1000", "RE1 e1 0 970.59") for line in opened] + ["Rout out 0 34k"]
    gain = abs(complex(run(opened, "ac lin 1 1k 1k")["out"][0]))
    assert closed == pytest.approx(gain / (1 + gain / 34), rel=0.03)


def test_differential_pair_gain_and_rejection() -> None:
    """[SS] A = R_C' / (2 (re + R_E)); for what is the same on both bases, R_C' / (2 R_T)."""
    parts, load, volts = EXAMPLES["differential-pair"]
    lines = powered("differential-pair", parts, "dc 0 ac 1", load, volts)
    at_rest = run(lines, "op")
    current = (15 - at_rest["out"][0].real) / 10e3 - at_rest["out"][0].real / load
    resistance = 1 / (1 / 10e3 + 1 / load)
    emitter = THERMAL / current + 0.3 + 80 / 250 + 100
    found = abs(complex(run(lines, "ac lin 1 1k 1k")["out"][0]))
    assert found == pytest.approx(resistance / (2 * emitter), rel=0.03)
    common = [line.replace("CB b2 0", "CB b2 b1") for line in lines]
    both = abs(complex(run(common, "ac lin 1 1k 1k")["out"][0]))
    assert both == pytest.approx(resistance / (2 * 15e3 + emitter), rel=0.05)


@pytest.mark.parametrize("role", ["R2", "R3", "R4"])
def test_summing_inputs_do_not_hear_each_other(role: str) -> None:
    """[SS] the weighted summer: an input's gain is its own resistor's affair, since the bus is a virtual ground."""
    parts, load, volts = EXAMPLES["summing"]
    gains = []
    for fitted in (parts, {each: value for each, value in parts.items() if each != role}):
        lines = powered("summing", fitted, "dc 0 ac 1", load, volts)
        gains.append(abs(complex(run(lines, "ac lin 1 1k 1k")["out"][0])))
    assert gains[0] == pytest.approx(gains[1], rel=1e-3)


def test_switched_gain_steps_are_those_of_its_resistors() -> None:
    """[SS] 1 + RF/R with R0 beside the resistor of the position chosen: 12, 5.03 and 32.3."""
    parts, load, volts = EXAMPLES["switched-gain"]
    for chosen, wanted in ((1e3, 12.0), (3.3e3, 5.03), (330.0, 32.3)):
        lines = powered("switched-gain", {**parts, "R1": chosen}, "dc 0 ac 1", load, volts)
        found = abs(complex(run(lines, "ac lin 1 1k 1k")["out"][0]))
        assert found == pytest.approx(wanted, rel=5e-3)


def test_instrument_input_loads_a_pickup_by_a_megohm() -> None:
    """[SS] a source follower's input resistance is its bias resistor's: a source of 1 M loses half."""
    parts, load, volts = EXAMPLES["instrument-jfet"]
    lines = powered("instrument-jfet", parts, "dc 0 ac 1", load, volts)
    near = abs(complex(run(lines, "ac lin 1 100 100")["out"][0]))
    far = [line.replace("Vin in 0", "Vin far 0") for line in lines] + ["Rsource far in 1e6"]
    assert abs(complex(run(far, "ac lin 1 100 100")["out"][0])) == pytest.approx(near / 2, rel=0.03)
