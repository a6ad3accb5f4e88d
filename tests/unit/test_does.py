"""What a unit file says of a netlist's stages, parts and points for people to read: purpose, does, about."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain import shipped
from lostgain.problems import UserError
from lostgain.unit import open_unit
from lostgain.unit.library import stage as library_stage
from lostgain.unit.model import Unit

UNITS = sorted(path.parent.name for path in (shipped.folder() / "units").glob("*/unit.toml"))
NETLIST = "two resistors and a capacitor\nR1 in a 1k\nC1 a 0 10n\nR2 a out 1k\n.end\n"
HEAD = """
[unit]
title = "Two stages, invented"
netlist = "a.cir"
input = "in"
output = "out"
[setup]
generator = "1 V rms"
"""
STAGES = """
[[stage]]
name = "Filter"
parts = ["R1", "C1"]
output = "a"
purpose = "takes treble away"
[stage.does]
r1 = "with C1 it sets the corner"
[[stage]]
name = "Series resistor"
parts = ["R2"]
output = "out"
[[point]]
name = "TP1"
node = "a"
about = "less treble"
"""


def unit_of(folder: Path, text: str) -> Unit:
    (folder / "a.cir").write_text(NETLIST, encoding="utf-8")
    (folder / "unit.toml").write_text(HEAD + text, encoding="utf-8")
    return open_unit(folder)


def test_a_boundary_says_what_it_and_its_parts_are_for(tmp_path: Path) -> None:
    unit = unit_of(tmp_path, STAGES)
    assert [stage.purpose for stage in unit.stages] == ["takes treble away", ""]
    assert {name: part.does for name, part in unit.parts.items()} == {
        "R1": "with C1 it sets the corner", "C1": "", "R2": "",
    }  # fmt: skip
    assert unit.point("TP1").about == "less treble"


def test_a_stage_from_a_netlist_says_it_by_the_boards_designators(tmp_path: Path) -> None:
    (tmp_path / "r.cir").write_text("* a divider\n.subckt div i o\nR1 i o 1k\nX2 o 0 half\n.ends\n"
                                    ".subckt half a b\nRX a b 1k\n.ends\n", encoding="utf-8")  # fmt: skip
    text = (
        '[unit]\ntitle = "t"\n[setup]\ngenerator = "1 V rms"\n[[stage]]\nname = "Divider"\nnetlist = "r.cir"\n'
        'subckt = "div"\nports = ["in", "out"]\nparts = { X2 = { as = "R7", kind = "resistor", pins = ["1", "2"] } }\n'
        'purpose = "halves"\n[stage.does]\nR7 = "lower leg"\n'
        '[stage.points]\no = { name = "TP2", about = "half of it" }\n'
    )
    (tmp_path / "unit.toml").write_text(text, encoding="utf-8")
    unit = open_unit(tmp_path)
    assert unit.stages[0].purpose == "halves"
    assert unit.parts["R7"].does == "lower leg"
    assert unit.point("TP2").about == "half of it"


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ('R11 = "corner"', "the stage “Filter” has no part “R11”. Did you mean R1?"),
        ('R2 = "another stage\'s"', "the stage “Filter” has no part “R2”"),
        ("R1 = 5", "R1 = 5 should be a text in quotes"),
        ('R1 = "one"\nr1 = "two"', "what R1 does is said twice, as R1 and r1"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, said: str, message: str) -> None:
    text = STAGES.replace('r1 = "with C1 it sets the corner"', said)
    with pytest.raises(UserError) as caught:
        unit_of(tmp_path, text)
    assert message in str(caught.value)
    line = (HEAD + text).splitlines().index(said.splitlines()[-1]) + 1
    assert {problem.where.line for problem in caught.value.problems} == {line}


def test_a_library_stage_has_its_own_words(tmp_path: Path) -> None:
    text = (
        '[unit]\ntitle = "t"\n[setup]\ngenerator = "1 V rms"\n[[stage]]\nname = "Coupling"\nuse = "coupling"\n'
        'CIN = "C2 10u 25V"\nRB = "R5 47k"\n[stage.does]\nR5 = "leak"\n'
    )
    (tmp_path / "unit.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match="coupling has no key or role “does”"):
        open_unit(tmp_path)


@pytest.mark.parametrize("name", UNITS)
def test_every_part_stage_and_point_of_a_shipped_unit_has_its_words(name: str) -> None:
    """`lostgain explain` leaves nothing without a word on what it is for."""
    unit = open_unit(name)
    stages = {stage.name: stage for stage in (*unit.stages, *unit.supplies)}
    facts = {stage.name: library_stage(stage.library) for stage in stages.values() if stage.library}
    assert [part.designator for part in unit.parts.values() if not part.does] == []
    assert [stage.name for stage in stages.values() if not stage.purpose and stage.name not in facts] == []
    for point in unit.points:
        inner = point.node.rpartition("/")[2]
        assert point.about or (point.stage in facts and facts[point.stage].nodes[inner]), point.name
