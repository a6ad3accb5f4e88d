"""Unsafe acts: each stops a drill with its reason, and what is safe does not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain import build_circuit, open_unit, parse_fault
from lostgain.teach.draw import hide
from lostgain.teach.drill import begun
from lostgain.teach.hazards import names, of_power_on
from lostgain.teach.hidden import Bench
from lostgain.teach.record import UNSAFE
from lostgain.unit.load import OPEN
from lostgain.unit.loads import parse_load
from tests.teach.drilled import UNITS, VALVE, done, drilled, like, megaphone, pool

#: Each hazard by the lines that meet it; `None` for those of units with other facts, which are tested below.
MET = {
    "live-ohms": ("R4, resistance",),
    "earthed-clip": ("U1 pin 7 to U1 pin 1, scope",),
    "live-part": ("replace R4",),
    "lifted-earth": ("earth lift",),
    "speaker-on-dc": None,
    "charged-part": None,
    "no-limiter": None,
    "unloaded": None,
    "fuse-rating": None,
}


def test_every_hazard_has_a_test() -> None:
    assert set(MET) == set(names())


@pytest.mark.parametrize("name", [name for name, lines in MET.items() if lines])
def test_an_unsafe_act_stops_the_drill(name: str) -> None:
    answer = done(drilled("C3 open"), *MET[name])
    assert answer.hazard is not None
    assert answer.hazard.name == answer.drill.hazard == name
    assert answer.drill.ended == UNSAFE
    assert len(answer.hazard.says) > 60


@pytest.mark.parametrize("line", ["bridge C3", "lift R4", "swap R4", "esr", "C3, esr", "U1 pin 7, diode test"])
def test_hands_and_meters_stay_off_what_is_live(line: str) -> None:
    line = "C3, esr" if line == "esr" else line
    answer = done(drilled("C3 open"), line)
    assert answer.hazard is not None


def test_reservoirs_are_measured_before_hands_go_in() -> None:
    unit = like(mains=True)
    answer = done(drilled("C3 open"), "power off", "replace R4", unit=unit)
    assert answer.drill.hazard == "charged-part"
    assert done(drilled("C3 open"), "power off", "R4, resistance", unit=unit).drill.hazard == "live-ohms"
    assert done(drilled("C3 open"), "power off", "discharge", "replace R4", unit=unit).hazard is None


def test_a_loudspeaker_on_dc() -> None:
    answer = done(drilled("R4 open", level=2), "load loudspeaker")
    assert answer.drill.hazard == "speaker-on-dc"
    assert "V" in answer.hazard.says


def test_a_loudspeaker_without_dc_is_safe() -> None:
    assert done(drilled("C3 open"), "load loudspeaker").hazard is None


def test_after_a_repair_the_lamp_limiter_comes_first() -> None:
    unit = like(output_stage=True)
    lines = ("power off", "replace R4", "limiter out", "power on")
    assert done(drilled("C3 open"), *lines, unit=unit).drill.hazard == "no-limiter"
    assert done(drilled("C3 open"), *lines[:2], "power on", unit=unit).hazard is None
    assert done(drilled("C3 open"), *lines).hazard is None  # no output stage


def test_a_valve_output_is_never_unloaded() -> None:
    unit = open_unit("clubhouse-guitar-amplifier")
    found = of_power_on(unit, Bench(0.1, 500.0), OPEN, None)
    assert found is not None
    assert found.name == "unloaded"
    assert of_power_on(unit, Bench(0.1, 500.0), parse_load("8R"), None) is None
    assert of_power_on(megaphone()[0], Bench(0.1, 500.0), OPEN, None) is None


def test_a_valve_output_driven_unloaded_stops_a_drill(tmp_path) -> None:
    folder = tmp_path / "valve"
    folder.mkdir()
    (folder / "unit.toml").write_text(VALVE)
    unit = open_unit(folder)
    circuit = build_circuit(unit, pool())
    drill = begun(unit, hide(unit, circuit, 3, 1, pool(), (parse_fault("R2 open", circuit),)), pool())
    for lines in (("load open",), ("power off", "load open", "power on")):
        answer = done(drill, *lines, unit=unit)
        assert (answer.drill.ended, answer.drill.hazard) == (UNSAFE, "unloaded")
        assert "arcs over" in answer.hazard.says
    assert done(drill, "power off", "load open", "load 8R", "power on", unit=unit).hazard is None


def test_a_fuse_of_another_rating(tmp_path) -> None:
    text = (UNITS / "megaphone" / "unit.toml").read_text()
    fused = 'VP = { volts = "+15 V", fuse = "F1 500mA" }'
    folder = tmp_path / "megaphone"
    folder.mkdir()
    (folder / "unit.toml").write_text(text.replace('VP = "+15 V"', fused))
    unit = open_unit(folder)
    assert done(drilled("C3 open"), "power off", "replace F1 with 2 A", unit=unit).drill.hazard == "fuse-rating"
    assert done(drilled("C3 open"), "power off", "replace F1 with 500 mA", unit=unit).hazard is None


def test_a_clip_on_one_side_of_a_bridged_output_is_unsafe_and_a_meter_is_not() -> None:
    assert done(drilled("C3 open"), "U1 pin 7 to U1 pin 1, dmm").hazard is None
    assert done(drilled("C3 open"), "U1 pin 7 to U1 pin 1").step.reading.instrument == "dmm-trms"


def test_nothing_goes_on_after_an_unsafe_act() -> None:
    drill = replace(drilled("C3 open"), ended=UNSAFE)
    with pytest.raises(Exception, match="has ended"):
        done(drill, "U1 pin 7")
