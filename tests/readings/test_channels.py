"""Readings of a unit with several channels: whose name a place has, and which channel is the good one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.readings import Reading, Readings, read
from lostgain.readings.fits import refuse_unsimulated
from lostgain.readings.taken import WORKING, placed
from lostgain.unit import called
from lostgain.unit.model import Unit
from tests.readings.example import ONE_CHANNEL, THREE_ZONES, TWO_ZONES


def taken(folder: Path, text: str, unit: Unit = TWO_ZONES) -> Readings:
    (folder / "readings.csv").write_text(f"point,value,channel\n{text}\n", encoding="utf-8")
    return read(folder / "readings.csv", unit)


def refused(folder: Path, text: str, unit: Unit = TWO_ZONES) -> str:
    with pytest.raises(UserError) as caught:
        taken(folder, text, unit)
    (problem,) = caught.value.problems
    return str(problem)


def test_a_place_named_as_in_the_first_channel_is_told_once(tmp_path: Path) -> None:
    found = taken(tmp_path, "U2 pin 1,1 Vpp,Zone A\nU2 pin 1,1 Vpp,Zone B\nTP4,1 Vpp,Zone B\nQ5 base,1 Vpp,Zone B")
    assert [row.channel for row in found.rows] == ["Zone A", "Zone B", "Zone B", "Zone B"]
    (warning,) = found.warnings
    assert "line 3: 'U2 pin 1' is what Zone A calls it; taken as U102 pin 1" in warning
    assert "The same in line 5." in warning


def test_a_place_named_as_in_its_own_channel_is_taken_as_it_is(tmp_path: Path) -> None:
    lines = 'U2 pin 1,1 Vpp,Zone A\nU102 pin 1,1 Vpp,Zone B\nTP4,1 Vpp,Zone B\n"R114, hot end",1 Vpp,'
    assert taken(tmp_path, lines).warnings == ()


def test_a_place_out_of_reach_is_told_too(tmp_path: Path) -> None:
    found = taken(tmp_path, "TP4,1 Vpp,Zone B\nU2 pin 1,can't reach,Zone B")
    assert "taken as U102 pin 1" in found.warnings[0]


def test_a_place_of_another_channel_than_the_line_says_is_a_mistake(tmp_path: Path) -> None:
    said = refused(tmp_path, "U102 pin 1,1 Vpp,Zone A")
    assert "line 2: 'U102 pin 1' is in Zone B, but the channel column says Zone A." in said
    assert "Write Zone B there, or U2 pin 1 here." in said


def test_a_pair_named_as_on_two_boards_is_a_mistake(tmp_path: Path) -> None:
    said = refused(tmp_path, "U2 pin 1 to U102 pin 7,1 V dc,Zone B")
    assert "(U2 pin 1) is called U102 pin 1 there" in said
    assert taken(tmp_path, "U102 pin 1 to TP4,1 V dc,").rows[0].channel == "Zone B"


def test_which_channel_is_taken_as_good_is_told(tmp_path: Path) -> None:
    found = taken(tmp_path, "TP4,same as good,Zone B\nU2 pin 1,1 Vpp,Zone A\nQ105 base,ok,Zone B")
    assert found.good == "Zone A"
    (warning,) = found.warnings
    assert "line 2" in warning
    assert "Zone A is taken as the good channel" in warning
    assert "# good channel: Zone A" in warning


def test_a_good_channel_that_the_file_names_needs_no_warning(tmp_path: Path) -> None:
    found = taken(tmp_path, "# good channel: Zone A\nTP4,same as good,Zone B")
    assert (found.good, found.warnings) == ("Zone A", ())


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("TP4,same as good,Zone B\nTP4,same as good,Zone A", TWO_ZONES, "which channel is the good one? It is said of"),
        ("TP4,same as good,Zone B", THREE_ZONES, "which channel is the good one?"),
        ("# good channel: Zone B\nTP4,same as good,Zone B", TWO_ZONES, "Zone B is the good channel itself"),
    ],
)
def test_a_good_channel_that_cannot_be_told(tmp_path: Path, text: str, unit: Unit, words: str) -> None:
    assert words in refused(tmp_path, text, unit)


def test_readings_at_no_frequency_of_the_set_up_are_refused_with_their_lines(tmp_path: Path) -> None:
    off = replace(taken(tmp_path, "TP4,1 Vpp,Zone A"), rows=())
    refuse_unsimulated(off, TWO_ZONES)
    (tmp_path / "off.csv").write_text("point,value,channel,frequency\nTP4,1 Vpp,A,777 Hz\n\nTP4,1 Vpp,B,3 kHz\n")
    found = read(tmp_path / "off.csv", TWO_ZONES)
    with pytest.raises(UserError, match=r"line 2: 777 Hz is none.*500 Hz, 40 Hz, 10 kHz") as caught:
        refuse_unsimulated(found, TWO_ZONES)
    assert [problem.where.line for problem in caught.value.problems] == [2, 4]
    mixed = replace(found, rows=(*found.rows, replace(found.rows[0], frequency=500.0)))
    refuse_unsimulated(mixed, TWO_ZONES)
    dc = replace(found, rows=(*found.rows, replace(found.rows[0], frequency=None, quantity="dc")))
    refuse_unsimulated(dc, TWO_ZONES)


def test_the_only_channel_is_no_good_channel(tmp_path: Path) -> None:
    """The fault is looked for in all others."""
    name = ONE_CHANNEL.channels[0].name
    with pytest.raises(UserError) as caught:
        taken(tmp_path, f"# good channel: {name}\nTP1,1 Vpp,", ONE_CHANNEL)
    said = str(caught.value)
    assert "has one channel" in said
    assert "--working FILE" in said


def test_a_place_is_said_in_the_names_of_its_own_board() -> None:
    board = TWO_ZONES.channels[1]
    row = Reading("U2 pin 7", "level", board.name, 1.0)
    assert placed(row, TWO_ZONES) == f"{called(board, 'U2 pin 7')} ({board.name})"
    assert called(board, "U2 pin 7") != "U2 pin 7"
    assert placed(replace(row, channel=board.name + WORKING), TWO_ZONES).startswith(called(board, "U2 pin 7"))
    assert placed(replace(row, channel="", against="TP4"), TWO_ZONES) == "U2 pin 7 to TP4"
    only = ONE_CHANNEL.channels[0]
    assert placed(replace(row, channel=only.name), ONE_CHANNEL) == "U2 pin 7"
