"""Included files: only from the unit's folder and the library."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.engine import resolve_includes
from lostgain.problems import UserError


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    folder = tmp_path / "unit"
    (folder / "parts").mkdir(parents=True)
    (tmp_path / "library").mkdir()
    (tmp_path / "library" / "npn.lib").write_text(".model q npn bf=100\n")
    (tmp_path / "secret").write_text("R9 secret 0 1k\n")
    (folder / "parts" / "two.inc").write_text("R2 out 0 1k ; two\n")
    return folder


def read(unit: Path, text: str) -> list[str]:
    (unit / "main.cir").write_text(text)
    return resolve_includes(unit / "main.cir", unit, unit.parent / "library")


def test_files_are_put_in_place(unit: Path) -> None:
    assert read(unit, "title\nR1 in out 1k\n.include parts/two.inc\n.lib 'npn.lib'\nV1 in 0 1\n.end\n") == [
        "R1 in out 1k", "R2 out 0 1k", ".model q npn bf=100", "V1 in 0 1",
    ]  # fmt: skip


def test_section_of_a_library_file(unit: Path) -> None:
    (unit / "all.lib").write_text(".lib one\nR1 a 0 1\n.endl\n.lib two\nR2 a 0 2\n.endl\n")
    assert read(unit, 't\n.lib "all.lib" TWO\n') == ["R2 a 0 2"]
    with pytest.raises(UserError, match=r"no section tow.*two"):
        read(unit, "t\n.lib all.lib tow\n")


@pytest.mark.parametrize(
    "name", ["../secret", "/etc/passwd", "~/x", "parts/../../secret", "c:\\x", "a$HOME/x", "`ls`", "..\\secret"]
)
def test_nothing_outside_is_read(unit: Path, name: str) -> None:
    with pytest.raises(UserError, match=r"leads out|cannot be in") as refused:
        read(unit, f"t\nR1 a 0 1\n.include {name}\n")
    assert refused.value.problems[0].where.line == 3
    assert "secret 0" not in str(refused.value)


def test_link_that_leads_out_is_not_followed(unit: Path) -> None:
    (unit / "link.inc").symlink_to(unit.parent / "secret")
    with pytest.raises(UserError, match="outside the unit's folder"):
        read(unit, "t\n.include link.inc\n")
    (unit / "good.inc").symlink_to(unit.parent / "library" / "npn.lib")
    assert read(unit, "t\n.include good.inc\n") == [".model q npn bf=100"]


def test_netlist_itself_has_to_lie_inside(unit: Path) -> None:
    with pytest.raises(UserError, match="outside"):
        resolve_includes(unit.parent / "secret", unit, unit.parent / "library")


def test_circles_and_missing_files(unit: Path) -> None:
    (unit / "a.inc").write_text(".include b.inc\n")
    (unit / "b.inc").write_text(".include a.inc\n")
    with pytest.raises(UserError, match="includes itself"):
        read(unit, "t\n.include a.inc\n")
    with pytest.raises(UserError, match=r"no file npm\.lib.*npn\.lib"):
        read(unit, "t\n.include npm.lib\n")
    with pytest.raises(UserError, match="name of one file"):
        read(unit, "t\n.include\n")


def test_size_and_content(unit: Path) -> None:
    with pytest.raises(UserError, match=r"too large.*10\.0 MB"):
        read(unit, "t\n" + "R1 a b 100000\n" * 714286)
    with pytest.raises(UserError, match="empty"):
        read(unit, "\n \n")
    (unit / "main.cir").write_bytes(b"title\nR1 a b \xff\n")
    with pytest.raises(UserError, match="UTF-8") as refused:
        resolve_includes(unit / "main.cir", unit, unit.parent / "library")
    assert refused.value.problems[0].where.line == 2
    (unit / "main.cir").write_bytes(b"\xef\xbb\xbftitle\r\nR1 a b 1k\r\n")
    assert resolve_includes(unit / "main.cir", unit, unit.parent / "library") == ["R1 a b 1k"]


def test_many_files_are_too_many(unit: Path) -> None:
    for depth in range(12):
        (unit / f"{depth}.inc").write_text(f".include {depth + 1}.inc\n")
    (unit / "12.inc").write_text("R1 a b 1k\n")
    with pytest.raises(UserError, match="deep"):
        read(unit, "t\n.include 0.inc\n")
    (unit / "half.inc").write_text("R1 a b 100000\n" * 60000)
    with pytest.raises(UserError, match="too large"):
        read(unit, "t\n" + ".include half.inc\n" * 6)


def test_mistakes_in_included_files_name_those(unit: Path) -> None:
    (unit / "parts" / "two.inc").write_text("R2 out 0 1k\nR3 out 0 2k2\n")
    with pytest.raises(UserError) as refused:
        read(unit, "t\n.include parts/two.inc\n")
    assert refused.value.problems[0].where.file == unit / "parts" / "two.inc"
    assert refused.value.problems[0].where.line == 2
