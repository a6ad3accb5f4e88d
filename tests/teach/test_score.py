"""Scoring and debrief: what each reading told, the policy beside it, traps, and what is kept of an apprentice."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise

import pytest

from lostgain import UserError, power_off
from lostgain.diagnosis.next_model import Next, NextReading
from lostgain.faults import rates
from lostgain.readings.model import OFF
from lostgain.report.text_debrief import debrief_text
from lostgain.report.text_progress import marks_text, progress_text
from lostgain.teach import keep, policy, progress
from lostgain.teach.debrief import Debrief, debrief
from lostgain.teach.mark import COLUMNS, mark
from lostgain.teach.policy import Best, _first, best
from lostgain.teach.record import Step
from lostgain.teach.score import needless, score_record, usable
from lostgain.teach.traps import trap_titles, traps
from tests.diagnosis.megaphone import megaphone as table_of
from tests.teach.drilled import done, drilled, megaphone, rigged


@cache
def looked(*lines: str, fault: str = "R6 drift 0.25x", level: int = 2) -> Debrief:
    drill = done(drilled(fault, level=level), *lines).drill
    rows = [each for each in drill.readings if each.quantity in OFF]
    table = power_off(table_of(), rows) if rows else table_of()
    with rigged(drill) as rig:
        return debrief(drill, rig, table)


GOOD = ("U1 pin 1", "U1 pin 6", "power off", "R6, resistance", "replace R6", "power on", "U1 pin 7", "sign off")


def test_a_drill_that_went_well() -> None:
    found = looked(*GOOD)
    assert found.score.solved
    assert found.score.share > 0.6
    assert found.score.needless == ()
    assert found.traps == ()
    assert found.score.best.solved
    assert ("R6", "Port") in found.score.best.rounds[-1].changed
    assert found.score.best.minutes + found.score.best.repair <= found.score.minutes + 10


def test_bits_add_up_to_what_is_not_known_any_more() -> None:
    found = looked(*GOOD)
    start = found.score.told[0] + found.score.left[0]
    assert sum(found.score.told) == pytest.approx(start - found.score.left[-1])
    told = {step.typed: bits for step, bits in zip(found.drill.steps, found.score.told, strict=True)}
    assert told["R6, resistance"] > 0.2  # across the part that has drifted
    assert told["power off"] == 0.0


def test_what_is_read_again_is_not_weighed_again() -> None:
    drill = done(drilled("R6 drift 0.25x"), "U101 pin 7", "U101 pin 7, dc", "U101 pin 7", "power off", "discharge",
                 "replace R105", "power on", "U101 pin 7", "U101 pin 7, dc").drill  # fmt: skip
    assert all(each.compared for each in drill.steps if each.reading is not None)
    assert len(drill.start) == 1  # the level at the output, with the oscilloscope
    weighed = [number for number, _ in usable(drill)]
    assert weighed == sorted(set(weighed))
    places = [(each.point, each.channel, each.quantity, each.frequency) for _, each in usable(drill)]
    assert len(places) == len(set(places))


def test_the_debrief_says_what_was_known_and_what_it_excluded() -> None:
    found = looked(*GOOD)
    last = found.known[-1]
    assert last.suspects[0][0] == "R6"
    assert last.suspects[0][1] > 0.8
    assert any(each.out for each in found.known)
    text = debrief_text(found, megaphone()[0])
    assert "R6 has drifted" in text
    assert "Beside the policy" in text
    assert "healthy: " in text  # the signal where it first changes
    assert max(map(len, text.splitlines())) <= 80


def test_the_time_of_a_policy_that_did_not_find_it_is_said_to_be_no_straight_one() -> None:
    found = looked(*GOOD)
    last = replace(found.score.best.rounds[-1], parts=(("R9", "Port"),), right=0, stop="given up")
    lost = replace(found, score=replace(found.score, best=Best((last,))))
    text = " ".join(debrief_text(lost, megaphone()[0]).split())
    assert "It had come down to R9: changed in vain. It did not come to all that had failed; its time counts" in text


#: Two faults, the first of them hiding what the second does; lines that mend one, read what is there then, and go on.
TWO = ("C3 open", "R6 drift 0.25x")
ONE_BY_ONE = ("U1 pin 1", "power off", "C3, esr", "replace C3", "power on", "U1 pin 7", "U1 pin 1", "power off",
              "R6, resistance", "replace R6", "power on", "U1 pin 7", "sign off")  # fmt: skip


@cache
def looked_at_two() -> Debrief:
    drill = done(drilled(*TWO, level=6), *ONE_BY_ONE).drill
    with rigged(drill) as rig:
        return debrief(drill, rig, power_off(table_of(), [each for each in drill.readings if each.quantity in OFF]))


def test_with_two_faults_the_policy_mends_one_and_reads_again() -> None:
    found = looked_at_two()
    walk = found.score.best
    assert found.score.solved
    assert walk.solved
    right = [each for each in walk.rounds if each.right]
    assert sorted(name for each in right for name, _ in each.changed[-1:]) == ["C3", "R6"]
    for before, after in pairwise(walk.rounds):  # the output is read again, as it is then
        assert (after.readings[0].point, after.readings[0].quantity) == ("U1 pin 7", "level")
        assert after.minutes >= 1
        moved = abs(after.readings[0].value / found.drill.start[0].value - 1)
        assert moved > 1 if before.right else moved < 0.05
    # Each repair takes switching off, discharging, a new part for each changed, and switching on; the last is proved by
    # reading the output again, a minute.
    proof = [0.0] * (len(walk.rounds) - 1) + [1.0]
    assert [each.repair for each in walk.rounds] == [
        3.5 + 8 * len(each.changed) + more for each, more in zip(walk.rounds, proof, strict=True)]  # fmt: skip
    assert walk.minutes == pytest.approx(sum(each.minutes for each in walk.rounds))


def test_with_two_faults_what_is_read_after_the_first_repair_is_of_another_unit() -> None:
    found = looked_at_two()
    assert [each.gone for each in found.drill.steps] == [0, 0, 0, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2]
    assert [each.compared for each in found.drill.steps if each.reading] == [True, True, True, True, True, False]
    repair = next(each for each in found.known if each.reading is None)
    assert repair.step == 3
    after = [each for each in found.known if each.step > 3]
    assert all("C3" not in dict(each.suspects) for each in (repair, *after))  # it is new
    assert after[-1].suspects[0][0] == "R6"
    assert after[-1].suspects[0][1] > 0.9
    told = sum(found.score.told[number] for number in range(4, 9))
    assert told == pytest.approx(found.score.left[3] - found.score.left[8])
    assert found.score.told[3] == 0.0
    text = " ".join(debrief_text(found, megaphone()[0]).split())
    assert "Step 4: one fault is mended, another is left." in text


def test_a_reading_that_would_have_told_more_is_named() -> None:
    found = looked("U101 pin 1", "U101 pin 7", "sign off")
    assert any(each.better is not None for each in found.known)
    assert not found.score.solved
    assert found.score.share == 0.0


def test_an_unsafe_drill_is_not_solved() -> None:
    found = looked("earth lift")
    assert not found.score.solved
    assert found.score.hazard == "lifted-earth"
    assert "unsafe" in debrief_text(found, megaphone()[0])


def test_with_the_power_off_the_policy_stays_off() -> None:
    drill = done(drilled("R6 drift 0.25x", level=4), "R6, resistance", "replace R6", "sign off").drill
    with rigged(drill) as rig:
        found = debrief(drill, rig, power_off(table_of(), drill.readings, OFF))
    assert all(each.quantity in OFF for each in found.score.best.readings)
    assert found.score.solved


#: Each trap by lines that fall into it.
FALLEN = {
    "opamp-blamed": ("U1 pin 7", "power off", "replace U1", "sign off"),
    "by-appearance": ("power off", "replace C1", "sign off"),
    "one-reading": ("U1 pin 7", "power off", "replace R5", "sign off"),
}


@pytest.mark.parametrize("name", FALLEN)
def test_a_trap_is_named(name: str) -> None:
    drill = done(drilled("R6 drift 0.25x"), *FALLEN[name]).drill
    assert name in {each.name for each in traps(drill, megaphone()[1])}


def step(channel: str, turned: str, left: float = 1.0) -> Step:
    drill = done(drilled("R6 drift 0.25x"), "U1 pin 7").drill
    reading = replace(drill.readings[0], channel=channel)
    return Step("U1 pin 7", "reading", 1.0, channel=channel, reading=reading, turned=turned, left=left)


def test_channels_compared_at_other_controls() -> None:
    drill = drilled("R6 drift 0.25x")
    unlike = replace(drill, steps=(step("Port", "RV1 0.5"), step("Starboard", "")))
    alike = replace(drill, steps=(step("Port", "RV1 0.5"), step("Starboard", "RV1 0.5")))
    assert [each.name for each in traps(unlike, megaphone()[1])] == ["other-controls"]
    assert traps(alike, megaphone()[1]) == ()


def test_a_node_loaded_by_the_probe() -> None:
    drill = drilled("R6 drift 0.25x")
    assert [each.name for each in traps(replace(drill, steps=(step("Port", "", 0.8),)), megaphone()[1])] == [
        "probe-loads"
    ]


def test_every_trap_has_a_test() -> None:
    assert set(trap_titles()) == {*FALLEN, "other-controls", "probe-loads"}


def test_what_failed_is_not_needless() -> None:
    drill = done(drilled("R6 drift 0.25x"), "power off", "replace R6", "replace R5", "replace R106").drill
    assert needless(drill) == (2, 3)  # R106 is the other channel's


@pytest.fixture
def own_data(monkeypatch, tmp_path):
    monkeypatch.setenv("LOSTGAIN_DATA", str(tmp_path))
    return tmp_path


def test_progress_is_kept_and_says_what_comes_next(own_data) -> None:
    assert progress.progress(progress.rows()).count == 0
    assert "No drill was finished" in progress_text(progress.progress([]))
    for number in range(3):
        progress.keep(looked(*GOOD), megaphone()[0], f"2026-01-0{number + 1}T10:00:00+00:00")
    progress.keep(looked("earth lift"), megaphone()[0], "2026-01-04T10:00:00+00:00")
    done_so_far = progress.rows()
    found = progress.progress(done_so_far)
    assert (found.count, found.solved, found.unsafe) == (4, 3, 1)
    assert found.next_level == 1
    assert found.by_kind[0].name == "resistor"
    assert found.hazards == (("lifted-earth", 1),)
    assert "Drill next: level 1" in progress_text(found)
    json.dumps(progress.progress_record(found, done_so_far), allow_nan=False)


def test_levels_go_up_once_the_last_drills_went_well() -> None:
    row = {"kinds": "resistor", "level": 1, "traps": "", "hazard": "", "solved": 1, "minutes": 20.0,
           "policy_minutes": 15.0}  # fmt: skip
    assert progress.progress([row] * 2).next_level == 1
    assert progress.progress([row] * 3).next_level == 2
    assert progress.progress([row, row, {**row, "minutes": 90.0}]).next_level == 1


def test_a_place_that_cannot_be_written_is_said(monkeypatch, tmp_path) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LOSTGAIN_DATA", str(tmp_path / "file"))
    with pytest.raises(Exception, match="LOSTGAIN_DATA"):
        progress.rows()


def test_a_set_is_marked(tmp_path) -> None:
    found = looked(*GOOD)
    result = {**score_record(found.score), "traps": ["one-reading"]}
    keep.write(replace(found.drill, result=result), tmp_path / "a.txt")
    keep.write(drilled("C3 open"), tmp_path / "b.txt")
    marks = [mark(tmp_path / name) for name in ("a.txt", "b.txt")]
    assert [set(each) for each in marks] == [set(COLUMNS)] * 2
    assert [each["ended"] for each in marks] == ["repaired", "unfinished"]
    assert marks[0]["share"] == pytest.approx(found.score.share)
    text = marks_text(marks)
    assert "one reading was trusted" in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_mark_that_somebody_wrote_is_refused(tmp_path) -> None:
    keep.write(replace(drilled("C3 open"), result={"policy": "best"}), tmp_path / "a.txt")
    with pytest.raises(UserError, match="damaged"):
        mark(tmp_path / "a.txt")


def test_the_policy_does_not_turn_down_what_comes_with_level() -> None:
    """Such a fault is gone then: the reading would be a healthy unit's."""
    quiet = NextReading("U1 pin 7", "level", "Port", 500.0, "scope-x10", "pp", 1e-3, 0.25, 1.0, 0.1, generator=0.02)
    loud = replace(quiet, generator=None)
    always, by_level = drilled("R6 drift 0.25x"), drilled("R6 drift 0.25x", level=5, condition="level")
    assert _first([quiet, loud], set(), always) is quiet
    assert _first([quiet, loud], set(), by_level) is loud


def test_a_policy_that_may_not_switch_on_reads_with_the_power_off_and_changes_no_rail() -> None:
    drill = drilled("C3 esr 220", level=4)
    assert drill.start == ()
    with rigged(drill) as rig:
        found = best(drill, rig, power_off(table_of(), quantities=OFF), rates("bench"))
    assert found.readings
    assert {each.quantity for each in found.readings} <= set(OFF)
    assert found.solved
    rails = {rail.name for rail in megaphone()[0].rails}
    assert not {name for each in found.rounds for name, _ in each.parts} & rails


def test_a_stage_that_the_order_names_is_known_from_the_start() -> None:
    """C1, ahead of the stage that is told, is as likely as any before; once it is told it hardly is one."""
    told, whole = (looked("U1 pin 1", fault="R6 drift 0.25x", level=number).known[0] for number in (1, 2))
    assert "C1" not in [name for name, _ in told.suspects]
    stages = {part.designator: part.stage for part in megaphone()[0].parts.values()}
    assert {stages.get(name, "Second stage") for name, _ in told.suspects} == {"Second stage"}
    assert told.suspects != whole.suspects


def test_a_fault_of_the_second_channel_is_told_in_the_names_of_its_board(tmp_path, monkeypatch) -> None:
    drill = done(drilled("C1 open", channel="Starboard"), "U101 pin 7", "sign off").drill
    with rigged(drill) as rig:
        found = debrief(drill, rig, table_of())
    assert found.labels == ("C101 open",)
    text = debrief_text(found, megaphone()[0])
    assert "C101 is open" in text
    assert not re.search(r"\b(C1|U1|R[1-9])\b", text)
    monkeypatch.setenv("LOSTGAIN_DATA", str(tmp_path))
    progress.keep(found, megaphone()[0], "2026-01-01T12:00:00+00:00")
    assert progress.rows()[0]["failed"] == "C101 open"
    path = tmp_path / "drill.txt"
    keep.write(replace(drill, result={**score_record(found.score), "failed": list(found.labels)}), path)
    assert mark(path)["failed"] == "C101 open"


def test_progress_and_marks_name_what_is_unsafe_in_words(tmp_path, monkeypatch) -> None:
    drill = done(drilled("C3 open"), "C3, esr").drill
    assert drill.hazard == "live-ohms"
    with rigged(drill) as rig:
        found = debrief(drill, rig, table_of())
    monkeypatch.setenv("LOSTGAIN_DATA", str(tmp_path))
    progress.keep(found, megaphone()[0], "2026-01-01T12:00:00+00:00")
    text = progress_text(progress.progress(progress.rows()))
    assert "ohmmeter on a live circuit" in text
    assert "At level 1 that is so of none so far." in text
    path = tmp_path / "drill.txt"
    keep.write(drill, path)
    assert "stopped: ohmmeter on a live circuit" in " ".join(marks_text([mark(path)]).split())


def test_what_would_have_told_sooner_is_said_once_and_two_faults_are_said_to_confuse() -> None:
    one = debrief_text(looked(*GOOD), megaphone()[0])
    two = debrief_text(looked_at_two(), megaphone()[0])
    assert "one fault is looked for" not in one
    assert "Each time one fault is looked for" in two
    found = looked("U1 pin 1", "U1 pin 1, dc", "U1 pin 6", "U1 pin 6, dc")
    better = next(each for each in found.known if each.better is not None)
    twice = debrief_text(replace(found, known=(better, better)), megaphone()[0])
    assert twice.count("Sooner:") == 1
    assert twice.count(f"Step {better.step + 1}:") == 2


def test_a_policy_left_with_a_rail_changes_the_parts_beside_it(monkeypatch) -> None:
    drill = drilled("C3 open")
    left_with = Next((), "idle", (("VN", "all", 0.8), ("C3", "Port", 0.2)), None, ())
    monkeypatch.setattr(policy, "next_reading", lambda *_, **__: left_with)
    with rigged(drill) as rig:
        found = best(drill, rig, table_of(), rates("bench"))
    assert [each.parts for each in found.rounds] == [(("C3", "Port"),)]
    assert found.solved
