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
    found = read_netlist(write(tmp_path, "R and C of a filter\nR2 out 0 10k\n.end\n"), tmp_path)
    assert [element.name for element in found.elements] == ["R2"]
    found = read_netlist(write(tmp_path, "R1 in out 10k\nR2 out 0 10k\n"), tmp_path)
    assert "reads like a part" in str(found.problems[0])


def test_included_files_count_and_keep_their_own_lines(tmp_path: Path) -> None:
    more = write(tmp_path, "* models\nR7 a b 1k\n.model mine npn(bf=100)\n", "more.cir")
    found = read_netlist(write(tmp_path, "title\n.include more.cir\nQ1 c b e s MINE\n"), tmp_path)
    assert [(element.name, element.model) for element in found.elements] == [("R7", ""), ("Q1", "mine")]
    assert (found.elements[0].where.file, found.elements[0].where.line) == (more, 2)


def test_a_file_outside_the_folder_is_not_read(tmp_path: Path) -> None:
    inner = tmp_path / "unit"
    inner.mkdir()
    write(tmp_path, "R8 a b 1k\n", "outside.cir")
    found = read_netlist(write(inner, "title\n.include ../outside.cir\nR1 a b 1\n"), inner)
    assert not found.elements
    assert found.problems[0].where.line == 2


def test_a_file_that_includes_itself_is_refused(tmp_path: Path) -> None:
    found = read_netlist(write(tmp_path, "title\n.include a.cir\nR1 a b 1\n"), tmp_path)
    assert any("itself" in str(problem) for problem in found.problems)


@pytest.mark.parametrize(
    ("text", "meant"),  # what ngspice makes of each: measured on ngspice 39.3
    [("2k2", "2.2k"), ("0R22", "0.22"), ("1M5", "1.5meg")],
)
def test_a_value_that_ngspice_misreads_is_refused_with_its_line(tmp_path: Path, text: str, meant: str) -> None:
    found = read_netlist(write(tmp_path, f"title\nR1 a b {text}\n"), tmp_path)
    [problem] = found.problems
    assert problem.where.line == 2
    assert text in problem.message
    assert meant in str(problem).lower()


@pytest.mark.parametrize("text", ["ten", "-5", "1e999", "5 5"])
def test_what_is_no_value_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=text):
        spice_value(text, "R")


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
