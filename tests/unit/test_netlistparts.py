"""Parts of a netlist: what is found, and what ngspice would read wrongly in silence."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.unit.netlistparts import read_netlist
from lostgain.unit.spicevalue import spice_value


def write(folder: Path, text: str, name: str = "a.cir") -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def test_elements_of_the_subcircuit_only_with_continuations_and_comments(tmp_path: Path) -> None:
    file = write(
        tmp_path,
        "* a comment\nR9 x y 1k\n.subckt one a b\nR1 a b\n* between\n+ 22k ; tail\nr2 a 0 10K $ tail\n"
        ".subckt inner p\nR3 p 0 1\n.ends\nC1 a b c = 10n\nV1 a 0 1\n.ends\n.subckt two a\nR4 a 0 1\n.ends\n",
    )
    found = read_netlist(file, tmp_path, "ONE")
    assert [(element.name, element.nodes, element.where.line) for element in found.elements] == [
        ("R1", ("a", "b"), 4),
        ("r2", ("a", "0"), 7),
        ("C1", ("a", "b"), 11),
    ]
    assert [element.value for element in found.elements] == pytest.approx([22e3, 10e3, 10e-9])
    assert found.ports["one"] == ("a", "b")
    assert not found.problems


def test_the_first_line_of_a_units_own_netlist_is_its_title(tmp_path: Path) -> None:
    found = read_netlist(write(tmp_path, "R1 in out 10k\nR2 out 0 10k\n.end\nR3 a b 1\n"), tmp_path)
    assert [element.name for element in found.elements] == ["R2"]
    assert "R1 would be lost" in str(found.problems[0])


def test_includes_are_followed_inside_the_folder_only(tmp_path: Path) -> None:
    inner = tmp_path / "unit"
    inner.mkdir()
    write(tmp_path, "R8 a b 1k\n", "outside.cir")
    write(inner, "R7 a b 1k\n.model mine npn(bf=100)\n", "more.cir")
    (inner / "link.cir").symlink_to(tmp_path / "outside.cir")
    names = ("more.cir", "../outside.cir", "link.cir", "'/etc/hostname'")
    text = "\n".join(["title", *(f".include {name}" for name in names), "Q1 c b e s MINE"])
    found = read_netlist(write(inner, text), inner)
    assert [(element.name, element.model) for element in found.elements] == [("R7", ""), ("Q1", "mine")]
    assert [problem.where.line for problem in found.problems] == [3, 4, 5]
    assert [word in str(problem) for word, problem in zip(("..", "link", "relative"), found.problems, strict=True)] == [
        True
    ] * 3


def test_a_file_that_includes_itself_is_refused(tmp_path: Path) -> None:
    found = read_netlist(write(tmp_path, "title\n.include a.cir\nR1 a b 1\n"), tmp_path)
    assert any("itself" in str(problem) for problem in found.problems)


# What ngspice makes of each: shared notes of the project, measured on ngspice 39.3.
@pytest.mark.parametrize(
    ("text", "letter", "meant"),
    [
        ("2k2", "R", "2.2k"),
        ("4R7", "R", "4.7?"),
        ("0R22", "R", "0.22?"),
        ("R22", "R", "0.22?"),
        ("1M5", "R", "1.5Meg"),
        ("1M", "R", "1Meg"),
        ("4u7", "C", "4.7u"),
        ("10F", "C", "10 without"),
    ],
)
def test_a_value_that_ngspice_reads_otherwise_is_refused_with_its_meaning(text: str, letter: str, meant: str) -> None:
    with pytest.raises(ValueError, match=text) as raised:
        spice_value(text, letter)
    assert meant in str(raised.value)


@pytest.mark.parametrize(
    ("text", "letter", "value"),  # ngspice manual, "Some naming conventions": scale factors
    [
        ("22k", "R", 22e3),
        ("1Meg", "R", 1e6),
        ("10MEGohm", "R", 10e6),
        ("100n", "C", 100e-9),
        ("47uF", "C", 47e-6),
        ("10m", "L", 10e-3),
        ("1e3", "R", 1e3),
        ("0.22", "R", 0.22),
        ("4.7kOhm", "R", 4.7e3),
        ("5m", "R", 5e-3),
    ],
)
def test_a_value_is_read_as_ngspice_reads_it(text: str, letter: str, value: float) -> None:
    assert spice_value(text, letter) == pytest.approx(value, rel=1e-12)
