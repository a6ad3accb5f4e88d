"""Drills as files: whole, alike on every machine, and not giving their fault away to a glance."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain import UserError, build_circuit, open_unit
from lostgain.teach import keep
from tests.teach.drilled import UNITS, done, drilled, megaphone, pool


def test_a_drill_comes_back_as_it_was(tmp_path) -> None:
    drill = done(drilled("C3 open"), "U1 pin 7", "power off", "lift C3", "C3, esr", "replace R4").drill
    keep.write(drill, tmp_path / "a.txt")
    assert keep.read(tmp_path / "a.txt") == drill
    assert list(tmp_path.iterdir()) == [tmp_path / "a.txt"]


def test_what_comes_back_reads_the_same(tmp_path) -> None:
    keep.write(drilled("C3 open"), tmp_path / "a.txt")
    again = keep.read(tmp_path / "a.txt")
    lines = ("U1 pin 7", "U1 pin 1, 40 Hz", "U1 pin 1, dc", "power off", "R3, resistance")
    assert done(again, *lines).drill.readings == done(drilled("C3 open"), *lines).drill.readings


def test_the_values_are_in_the_file_and_not_the_seed_alone(tmp_path) -> None:
    """Another seed in the file changes no part: only the last digits of what instruments show."""
    drill = drilled("C3 open")
    other = replace(drill, hidden=replace(drill.hidden, seed=99))
    one, two = (done(each, "U1 pin 7").drill.readings[0].value for each in (drill, other))
    assert one == pytest.approx(two, rel=0.04)


def test_its_fault_is_in_no_plain_text(tmp_path) -> None:
    text = keep.packed(drilled("C3 open"))
    assert not re.search(r"C3|\bopen\b|Port|R4", text.split("\n\n")[0])
    assert "no secret" in text
    assert text.startswith(keep.HEAD)
    assert max(len(line) for line in text.splitlines()) < 100


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (keep.HEAD, "another file", "no drill"),
        ("sha256: ", "sha256: 0", "checksum"),
        ("\n\neN", "\n\nAA", "does not unpack"),
        ("\n\neN", "\n\n§§", "does not unpack"),
    ],
)
def test_a_damaged_file_is_said(tmp_path, old: str, new: str, said: str) -> None:
    file = tmp_path / "a.txt"
    file.write_text(keep.packed(drilled("C3 open")).replace(old, new, 1))
    with pytest.raises(UserError, match=said):
        keep.read(file)


def test_what_is_missing_is_said(tmp_path) -> None:
    with pytest.raises(UserError, match="cannot be read"):
        keep.read(tmp_path / "nowhere.txt")
    assert not keep.is_drill(tmp_path)


@given(st.text(max_size=300))
def test_any_text_is_a_drill_or_refused(tmp_path_factory, text: str) -> None:
    file = tmp_path_factory.getbasetemp() / "any.txt"
    file.write_text(f"{keep.HEAD}\n{text}", encoding="utf-8", errors="replace")
    with pytest.raises(UserError):
        keep.read(file)


def test_a_drill_of_another_unit_does_not_fit(tmp_path) -> None:
    other = build_circuit(open_unit(UNITS / "sallen-key"), pool())
    with pytest.raises(UserError, match="does not fit"):
        keep.check_fits(drilled("C3 open"), other, tmp_path)


def test_a_unit_that_has_changed_is_told(tmp_path) -> None:
    drill = drilled("C3 open")
    assert keep.check_fits(drill, megaphone()[1], tmp_path) == ""
    changed = replace(drill, hidden=replace(drill.hidden, made_of="0" * 16))
    assert "has changed" in keep.check_fits(changed, megaphone()[1], tmp_path)
