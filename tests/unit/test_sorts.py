"""What sort of file somebody named."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.unit.sorts import FOLDER, NETLIST, READINGS, UNIT, UNIT_FOLDER, sort_of


@pytest.mark.parametrize(
    ("name", "content", "sort"),
    [
        ("a.csv", b"# a\n\ntest point,value\n", READINGS),
        ("a.txt", "point;reading;ch\n".encode("utf-16"), READINGS),
        ("a.csv", b"", READINGS),
        ("a.txt", b"# a\n[unit]\n", UNIT),
        ("a.csv", b"[[stage]]\n", UNIT),
        ("a.toml", b"title = 1\n", UNIT),
        ("a.cir", b"* a\n", NETLIST),
        ("a.txt", b"", ""),
        ("a.bin", bytes(range(256)), ""),
        ("a.txt", b'value = "a, b"\n', ""),
    ],
)
def test_a_file_is_told_by_its_first_line_and_name(tmp_path: Path, name: str, content: bytes, sort: str) -> None:
    (tmp_path / name).write_bytes(content)
    assert sort_of(tmp_path / name) == sort


def test_folders_and_what_is_not_there(tmp_path: Path) -> None:
    assert sort_of(tmp_path) == FOLDER
    (tmp_path / "unit.toml").write_bytes(b"")
    assert sort_of(tmp_path) == UNIT_FOLDER
    assert sort_of(tmp_path / "nowhere.csv") == ""
    assert sort_of(Path("\0")) == ""


@given(st.binary(max_size=200))
def test_no_content_makes_it_fail(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.mktemp("sorts") / "a"
    path.write_bytes(content)
    assert sort_of(path) in ("", READINGS, UNIT)
