"""The bench of a drill: what instruments show of the hidden unit, in any set-up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain import UserError, build_circuit, open_unit, parse_fault
from lostgain.teach.draw import hide
from lostgain.teach.drill import begun, do
from lostgain.teach.hidden import Hidden
from lostgain.teach.rig import Rig
from lostgain.teach.traps import traps
from tests.teach.drilled import done, drilled, megaphone, pool, values


def test_the_same_instrument_asked_twice_shows_the_same_unit() -> None:
    drill = done(drilled("C3 open"), "U1 pin 7", "U1 pin 7", "U1 pin 7, dmm").drill
    first, second, other = drill.readings
    assert first.value == pytest.approx(second.value, rel=0.01)  # the last digit stirs
    assert other.value != first.value
    assert other.value == pytest.approx(first.value, rel=0.06)  # another instrument, other errors


def test_a_drill_replayed_gives_identical_readings() -> None:
    lines = ("U1 pin 7", "U1 pin 1, dc", "U1 pin 1, 40 Hz", "U101 pin 7", "power off", "R3, resistance", "C3, esr")
    once, again = (done(drilled("C3 open"), *lines).drill for _ in range(2))
    assert once.readings == again.readings


def test_an_open_ground_capacitor_leaves_a_gain_of_one() -> None:
    drill = done(drilled("C3 open"), "U1 pin 1", "U1 pin 2", "U101 pin 1", "U101 pin 2").drill
    port, port_inn, good, good_inn = values(drill)
    assert port / port_inn == pytest.approx(1.0, rel=0.05)
    assert good / good_inn == pytest.approx(1 + 10e3 / 2.2e3, rel=0.08)


def test_what_is_hidden_is_in_one_channel() -> None:
    drill = done(drilled("R6 drift 0.25x"), "U1 pin 7", "U101 pin 7").drill
    bad, good = values(drill)
    assert bad / good == pytest.approx(0.25, rel=0.1)


def test_a_new_part_mends_it_and_signing_off_says_so() -> None:
    answer = done(
        drilled("R6 drift 0.25x"), "power off", "replace R6", "power on", "U1 pin 7", "U101 pin 7", "sign off"
    )
    bad, good = values(answer.drill)
    assert bad / good == pytest.approx(1.0, rel=0.1)
    assert "repaired" in answer.step.says
    assert answer.drill.money == pytest.approx(0.1)


def test_signing_off_too_early_is_told() -> None:
    answer = done(drilled("R6 drift 0.25x"), "power off", "replace R5", "sign off")
    assert "still fails" in answer.step.says


def test_a_leg_left_up_is_no_repair() -> None:
    answer = done(drilled("R6 drift 0.25x"), "power off", "replace R6", "lift R5", "sign off")
    assert "still lifted" in answer.step.says


def test_lifted_a_resistor_reads_alone() -> None:
    drill = done(drilled("R4 drift 2.5x"), "power off", "lift R4", "R4, resistance", "R104, resistance").drill
    assert drill.readings[0].lifted
    assert drill.readings[0].value == pytest.approx(25e3, rel=0.08)
    assert not drill.readings[1].lifted


def test_lifted_has_to_be_lifted_first() -> None:
    with pytest.raises(UserError, match="lift R4 first"):
        done(drilled("R4 drift 2.5x"), "power off", "R4 lifted, resistance")


def test_a_lifted_leg_opens_the_circuit() -> None:
    drill = done(drilled("C3 open"), "power off", "lift R5", "power on", "U1 pin 7").drill
    assert drill.readings[0].word == "nothing" or drill.readings[0].value < 0.01


def test_a_bridge_brings_the_signal_back_and_takes_it_away() -> None:
    lines = ("power off", "bridge C3", "power on", "U1 pin 7", "power off", "unbridge C3", "power on", "U1 pin 7")
    bridged, bare = values(done(drilled("C3 open"), *lines).drill)
    assert bridged / bare == pytest.approx(1 + 10 / 2.2, rel=0.08)


def test_a_swapped_part_takes_its_fault_along() -> None:
    lines = ("power off", "swap R6", "power on", "U1 pin 7", "U101 pin 7")
    port, starboard = values(done(drilled("R6 drift 0.25x"), *lines).drill)
    assert starboard / port == pytest.approx(0.25, rel=0.1)


def test_generator_frequency_and_load_are_the_benchs() -> None:
    lines = ("U1 pin 7", "generator 50 mV rms", "U1 pin 7", "generator 100 mV rms", "frequency 20 kHz", "U1 pin 7")
    whole, half, high = done(drilled("C3 open"), *lines).drill.readings
    assert half.value / whole.value == pytest.approx(0.5, rel=0.03)
    assert high.frequency == 20e3


def test_a_reading_may_name_its_generator_level() -> None:
    """As it may name its frequency; the generator then goes back to where it was."""
    drill = done(drilled("C3 open"), "U1 pin 7, 50 mV", "U1 pin 7", "generator 50 mV rms", "U1 pin 7, 100 mV").drill
    half, whole, again = drill.readings
    assert half.value / whole.value == pytest.approx(0.5, rel=0.03)
    assert again.value == pytest.approx(whole.value, rel=0.02)
    assert [each.generator for each in drill.readings] == [0.05, None, None]


def test_a_further_level_of_the_set_up_is_compared() -> None:
    unit = megaphone()[0]
    further = replace(unit, setup=replace(unit.setup, levels=(0.05,)))
    lines = ("generator 50 mV rms", "U1 pin 7", "U1 pin 7, 20 kHz", "generator 60 mV rms", "U1 pin 7")
    drill = done(drilled("R6 drift 0.25x"), *lines, unit=further).drill
    assert [step.compared for step in drill.steps if step.reading] == [True, False, False]
    assert [each.generator for each in drill.readings] == [0.05, 0.05, 0.06]


def test_a_meters_band_ends() -> None:
    """A meter that is good to 1 kHz reads less at 20 kHz than an oscilloscope does."""
    scope, meter = values(done(drilled("R6 drift 0.25x"), "U1 pin 1, 20 kHz", "U1 pin 1, 20 kHz, average").drill)
    assert meter < 0.2 * scope


def test_a_probe_hangs_on_what_it_reads() -> None:
    """1 MΩ with 100 pF takes away more of a node behind 100 kΩ and more than 10 MΩ with 12 pF does."""
    drill = done(drilled("C3 open"), "R2, right end, 10 kHz, x10", "R2, right end, 10 kHz, x1").drill
    assert [step.left for step in drill.steps] == sorted((step.left for step in drill.steps), reverse=True)


def test_over_range_is_said() -> None:
    drill = done(drilled("C3 open"), "power off", "lift C2", "C2, resistance").drill
    assert drill.readings[0].above
    assert drill.readings[0].text.startswith(">")


def test_with_the_power_off_there_is_no_level() -> None:
    with pytest.raises(UserError, match="the power is off"):
        done(drilled("C3 open"), "power off", "U1 pin 7")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("U1 pin 9", "no test point"),
        ("R4", "R4 is a part: say what to read across it"),
        ("u1", "lift U1"),
        ("repalce R4", "Did you mean replace"),
        ("lift R99", "no part 'R99'"),
        ("generator loud", "loud"),
        ("generator 40 V rms", "up to 10 V"),
        ("frequency 1 MHz", "200 kHz"),
        ("control R4 half", "no control"),
        ("bridge R4", "no capacitor"),
        ("resolder R4", "not lifted"),
        ("power maybe", "neither"),
        ("load", "LOAD"),
        ("instrument crystal ball", "no instrument"),
        ("U1 pin 7, hum", "simulates no hum"),
        ("U1 pin 7, ripple", "not described"),
        ("U1 pin 7, common mode", "one leg"),
        ("limiter out", "switch off first"),
    ],
)
def test_what_cannot_be_done_is_said(line: str, said: str) -> None:
    drill = drilled("C3 open")
    with pytest.raises(UserError, match=said):
        done(drill, "power off" if line.startswith(("bridge", "resolder")) else "U1 pin 7", line)


def test_the_hidden_unit_is_kept_in_full() -> None:
    hidden: Hidden = drilled("C3 open").hidden
    assert set(hidden.built) == {"Port", "Starboard"}
    for built in (*hidden.built.values(), hidden.spares):
        assert len(built.values) > 10
        assert {f"esr {name}" for name in ("C1", "C3")} <= set(built.losses)
    rails = [each.values["v_vp"] for each in hidden.built.values()]
    assert rails[0] == rails[1]  # one rail feeds both


def test_each_channel_has_its_own_control() -> None:
    """Turned from the unit's setting, only that channel's level follows; the trap of comparing them is named."""
    unit = open_unit("ferry-terminal")
    circuit = build_circuit(unit, pool())
    hidden = hide(unit, circuit, 2, 3, pool(), (parse_fault("K2 open", circuit),), "Zone A")
    drill, rig = begun(unit, hidden, pool()), Rig(unit, hidden, pool())
    for line in ("TP1", "TP101", "control RV101 -20 dB", "TP1", "TP101", "control RV101 -6 dB", "TP101"):
        drill = do(drill, rig, line).drill
    a, b, a_after, b_down, b_back = values(drill)
    assert a_after == pytest.approx(a, rel=0.02)
    assert b_down < 0.7 * b
    assert b_back == pytest.approx(b, rel=0.02)
    assert not drill.bench.controls  # as the unit's own again, so that a table can weigh what is read
    compared = [step.compared for step in drill.steps if step.reading]
    assert compared == [True, True, True, False, True]
    assert "other-controls" in {each.name for each in traps(drill, circuit)}


def test_a_reading_counts_until_something_that_failed_is_new() -> None:
    lines = (
        "U1 pin 7",
        "power off",
        "replace R5",
        "power on",
        "U1 pin 7",
        "power off",
        "replace R6",
        "power on",
        "U1 pin 7",
    )
    drill = done(drilled("R6 drift 0.25x"), *lines, "generator 50 mV rms", "U1 pin 7").drill
    assert [step.compared for step in drill.steps if step.reading] == [True, True, False, False]
