"""Levels of drills: what each asks for, what each unit can offer, and the work order."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from lostgain import UserError, build_circuit, open_unit, parse_fault
from lostgain.faults import modes_for
from lostgain.teach.draw import COMES, draw, hide
from lostgain.teach.drill import QUIETLY, begin, begun, do
from lostgain.teach.hidden import CONDITIONS
from lostgain.teach.order import drives_loudspeaker, levels, symptoms, titles, words
from lostgain.teach.powering import lamp_glows
from lostgain.teach.rig import Rig
from lostgain.unit.loads import load_names, parse_load
from tests.teach.drilled import UNITS, done, drilled, megaphone, pool, values
from tests.teach.seen import sine


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 6])
def test_a_level_hides_what_it_says(number: int) -> None:
    unit, circuit = megaphone()
    drill = begin(unit, circuit, number, 3, pool())
    hidden, wanted = drill.hidden, levels()[number]
    assert len(hidden.faults) == wanted.faults
    assert (hidden.condition in CONDITIONS) == wanted.condition
    assert (hidden.good == "") == wanted.alone
    assert drill.bench.power == wanted.power
    assert bool(drill.start) == wanted.power
    assert hidden.symptoms
    said = " ".join(drill.order)
    assert not any(part in said.split() for part in unit.parts)  # a part is never named
    assert (f"stage {hidden.faults[0].stage}" in said) == wanted.stage


def test_level_7_has_hum_distortion_or_dc() -> None:
    unit, circuit = megaphone()
    drill = begin(unit, circuit, 7, 2, pool())
    assert set(drill.hidden.symptoms) <= {"hum", "distorted", "dc"}


def test_the_same_seed_hides_the_same() -> None:
    unit, circuit = megaphone()
    assert draw(unit, circuit, 2, 5, pool()) == draw(unit, circuit, 2, 5, pool())
    assert draw(unit, circuit, 2, 5, pool()) != draw(unit, circuit, 2, 6, pool())


def test_a_unit_of_one_channel_has_no_good_one() -> None:
    unit = open_unit(UNITS / "sallen-key")
    circuit = build_circuit(unit, pool())
    with pytest.raises(UserError, match="needs a good channel"):
        draw(unit, circuit, 2, 1, pool())


def test_there_is_no_level_9() -> None:
    unit, circuit = megaphone()
    with pytest.raises(UserError, match="no level 9"):
        draw(unit, circuit, 9, 1, pool())


def test_a_fault_that_nobody_notices_is_no_drill() -> None:
    with pytest.raises(UserError, match="nothing of that would be noticed"):
        drilled("R4 drift 1.1x")


def test_alone_on_the_bench_means_alone() -> None:
    with pytest.raises(UserError, match="only Port is on the bench"):
        done(drilled("C3 open", level=3), "U101 pin 7")
    with pytest.raises(UserError, match="no other channel"):
        done(drilled("C3 open", level=3), "power off", "swap R4")


def test_what_may_not_be_switched_on_is_not() -> None:
    drill = drilled("C3 open", level=4)
    with pytest.raises(UserError, match="must not be switched on"):
        done(drill, "power on")
    assert done(drill, "C3, esr").drill.readings[0].value > 20


@pytest.mark.parametrize(
    ("condition", "bring", "take"),
    [("warm", "warm", "cool"), ("warm", "warm R6", "cool R6"), ("vibration", "tap R6", "tap R6")],
)
def test_an_intermittent_fault_comes_and_goes(condition: str, bring: str, take: str) -> None:
    drill = drilled("R6 drift 0.25x", level=5, condition=condition)
    drill = done(drill, "U1 pin 7", bring, "U1 pin 7", take, "U1 pin 7").drill
    fine, bad, fine_again = values(drill)
    assert bad / fine == pytest.approx(0.25, rel=0.1)
    assert fine_again == pytest.approx(fine, rel=0.02)
    assert [step.compared for step in drill.steps if step.reading] == [False, True, False]


def test_tapping_elsewhere_brings_nothing() -> None:
    drill = drilled("R6 drift 0.25x", level=5, condition="vibration")
    before, after = values(done(drill, "U1 pin 7", "tap R4", "U1 pin 7").drill)
    assert after == pytest.approx(before, rel=0.02)
    drill = done(drill, "tap R6", "tap R4", "U1 pin 7").drill  # and takes nothing away
    assert values(drill)[-1] == pytest.approx(0.25 * before, rel=0.1)


def test_what_came_with_a_tap_stays_with_the_power_off_and_a_meter_shows_it() -> None:
    drill = drilled("R6 drift 0.25x", level=5, condition="vibration")
    drill = done(drill, "tap R6", "power off", "R6, resistance", "tap R6", "R6, resistance").drill
    bad, fine = values(drill)
    assert bad == pytest.approx(33e3 / 4, rel=0.1)
    assert fine == pytest.approx(33e3, rel=0.1)
    assert [step.compared for step in drill.steps if step.reading] == [True, False]


def test_two_names_of_one_point_are_told() -> None:
    with pytest.raises(UserError, match="one and the same point"):
        done(drilled("C3 open"), "power off", "R5 1 to U1 pin 1, resistance")


def test_a_fault_of_full_level_shows_at_full_level() -> None:
    drill = drilled("R6 drift 0.25x", level=5, condition="level")
    assert drill.bench.generator == pytest.approx(QUIETLY * 0.1)
    quiet, loud = values(done(drill, "U1 pin 7", "generator 100 mV rms", "U1 pin 7").drill)
    assert loud / quiet == pytest.approx(0.25 / QUIETLY, rel=0.1)


def test_two_faults_need_both_parts() -> None:
    drill = drilled("C3 open", "R6 drift 0.25x", level=6)
    assert "still fails" in done(drill, "power off", "replace R6", "sign off").step.says
    assert "repaired" in done(drill, "power off", "replace R6", "replace C3", "sign off").step.says


def test_the_order_is_of_the_symptoms_and_of_the_seed() -> None:
    unit, _ = megaphone()
    hidden = drilled("C3 open").hidden
    assert words(hidden, unit) == words(hidden, unit)
    other = {words(replace(hidden, seed=seed), unit) for seed in range(8)}
    assert len(other) > 1
    assert titles(("low", "hum")) == "too little at the output, hum"


def orders(unit, *found: str) -> set[str]:
    """All sentences that some symptoms of a unit may be told in."""
    hidden = replace(drilled("C3 open").hidden, symptoms=found)
    return {text for seed in range(40) for text in words(replace(hidden, seed=seed), unit)}


EVERY = ("none", "low", "loud", "distorted", "no-bass", "no-treble", "hum", "dc", "off")


@pytest.mark.parametrize("name", ["state-variable-filter", "choir-desk", "listening-desk"])
def test_a_unit_without_a_loudspeaker_is_not_said_to_have_one(name: str) -> None:
    unit = open_unit(name)
    assert not drives_loudspeaker(unit)
    said = orders(unit, *EVERY)
    assert said
    assert not [text for text in said if re.search(r"loudspeaker|cone|back of the room", text)]
    assert any("plugged in" in text for text in orders(unit, "dc"))


@pytest.mark.parametrize("name", ["ferry-terminal", "planetarium-loudspeaker", "clubhouse-guitar-amplifier"])
def test_a_unit_with_a_loudspeaker_is_said_to_have_one(name: str) -> None:
    unit = open_unit(name)
    assert drives_loudspeaker(unit)
    assert all(re.search(r"loudspeaker|cone", text) for text in orders(unit, "dc"))
    assert not [text for text in orders(unit, *EVERY) if "plugged in" in text]


def test_what_hangs_on_the_output_tells_of_a_loudspeaker() -> None:
    unit, _ = megaphone()
    assert not drives_loudspeaker(unit)
    assert drives_loudspeaker(replace(unit, output_stage=True))
    for load, speaks in (("8R", True), (load_names()[0], True), ("600R", False), ("open", False)):
        setup = replace(unit.setup, load=parse_load(load))
        assert drives_loudspeaker(replace(unit, setup=setup)) == speaks


def test_each_channel_can_fail() -> None:
    unit, _ = megaphone()
    drill = drilled("C3 open", channel="Starboard")
    assert drill.hidden.good == "Port"
    assert drill.start[0].channel == "Starboard"
    assert begun(unit, drill.hidden, pool()).start == drill.start


def test_symptoms_are_sorted_out() -> None:
    well = [sine(1.0)] * 3
    flat = (0.0, 0.0)
    quiet = (float("nan"), float("nan"))
    assert symptoms(well, [sine(0.5), sine(0.5), sine(0.5)], flat, quiet) == ("low",)
    assert symptoms(well, [sine(1e-4)] * 3, flat, quiet) == ("none",)
    deaf = [replace(each, floor=0.03) for each in (sine(0.02), sine(0.02), sine(0.02))]
    assert symptoms(well, deaf, flat, quiet) == ("none",)  # 34 dB down, and less than the oscilloscope tells
    assert symptoms(well, [sine(0.02)] * 3, flat, quiet) == ("low",)
    assert symptoms(well, [sine(2.0)] * 3, flat, quiet) == ("loud",)
    assert symptoms(well, [sine(1.0), sine(0.3), sine(1.0)], flat, quiet) == ("no-bass",)
    assert symptoms(well, [sine(1.0), sine(1.0), sine(0.3)], flat, quiet) == ("no-treble",)
    assert symptoms(well, [sine(1.0, cut=0.5)] * 3, flat, quiet)[0] == "distorted"
    assert symptoms(well, [sine(0.03, cut=0.5)] * 3, flat, quiet) == ("low",)  # nobody speaks of the sound of so little
    assert symptoms(well, well, (0.0, 12.0), quiet) == ("dc",)
    assert symptoms(well, well, flat, (1e-3, 50e-3)) == ("hum",)
    assert symptoms(well, well, flat, quiet) == ()


def test_every_condition_has_modes_that_come_with_it() -> None:
    known = {mode.name for kind in ("resistor", "electrolytic", "npn", "opamp", "potentiometer", "connector")
             for mode in modes_for(kind)}  # fmt: skip
    assert set(COMES) == set(CONDITIONS)
    assert all(set(modes) & known for name, modes in COMES.items() if name != "level")


def test_a_fuse_blows_again_until_what_blew_it_is_new() -> None:
    """Parts that failed together with their fuses: new fuses alone do not last, and no channel is good."""
    unit = open_unit("ferry-terminal")
    circuit = build_circuit(unit, pool())
    fault = parse_fault("output-pair-shorted", circuit)
    drill = begun(unit, hide(unit, circuit, 3, 1, pool(), (fault,), "Zone A"), pool())
    fuses = [each.part for each in fault.members if unit.parts[each.part].kind == "fuse"]
    rest = [each.part for each in fault.members if each.part not in fuses]
    rig = Rig(unit, drill.hidden, pool())

    def after(drill, *lines: str):
        for line in lines:
            answer = do(drill, rig, line)
            drill = answer.drill
        return answer

    begin_lines = ("power off", "discharge", *(f"replace {name}" for name in fuses))
    assert "blows at once" in after(drill, *begin_lines, "power on").step.says
    mended = after(drill, *begin_lines, *(f"replace {name}" for name in rest), "power on")
    assert mended.step.says == "The power is on."
    assert "repaired" in after(mended.drill, "sign off").step.says
    assert hide(unit, circuit, 2, 1, pool(), (fault,), "Zone A").good == ""


def test_the_limiters_lamp_glows_where_far_too_much_is_drawn() -> None:
    unit = open_unit("ferry-terminal")
    circuit = build_circuit(unit, pool())
    glows = []
    for text in ("Q7 ce-short", "C11 open"):
        drill = begun(unit, hide(unit, circuit, 2, 1, pool(), (parse_fault(text, circuit),), "Zone A"), pool())
        glows.append(lamp_glows(Rig(unit, drill.hidden, pool()), drill.bench))
    assert glows == [True, False]


def test_what_serves_both_channels_is_not_swapped_between_them() -> None:
    unit = megaphone()[0]
    fed = replace(unit, supplies=unit.stages[:1])  # the input coupling stands in for a supply
    drill = drilled("R6 drift 0.25x")
    assert "changed places" in done(drill, "power off", "swap R1").step.says
    with pytest.raises(UserError, match="R1 serves both channels"):
        done(drill, "power off", "swap R1", unit=fed)
