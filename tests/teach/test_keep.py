"""Drills as files: whole, alike on every machine, and not giving their fault away to a glance."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain import UserError, build_circuit, open_unit
from lostgain.teach import keep
from lostgain.teach.fits import check_fits
from lostgain.teach.record import drill_record
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
        check_fits(drilled("C3 open"), other, tmp_path)


#: What somebody may write into a file, by its place in the record, and how each has to end.
WRITTEN = [
    (("hidden", "unit"), "../../etc"),
    (("hidden", "channel"), "Astern"),
    (("hidden", "good"), "Astern"),
    (("hidden", "level"), 9),
    (("hidden", "generator"), float("inf")),
    (("hidden", "condition"), "moonlight"),
    (("hidden", "faults", 0, "part"), "C99"),
    (("hidden", "faults", 0, "mode"), "eaten"),
    (("hidden", "faults", 0, "stage"), "Nowhere"),
    (("hidden", "built", "Port", "values", "v_vp", 1), float("nan")),
    (("hidden", "built", "Port", "parameters"), {"m1 x=1)\n.control": 1.0}),
    (("hidden", "spares", "losses", "esr C1"), float("nan")),
    (("bench", "load"), "8 apples"),
    (("bench", "generator"), -1.0),
    (("bench", "instrument"), "crystal ball"),
    (("bench", "lifted"), [["Port", "R99"]]),
    (("bench", "controls"), {"Port": {"RV9": 0.5}}),
    (("bench", "swapped"), ["R99"]),
    (("start", 0, "point"), "U9 pin 1"),
    (("start", 0, "quantity"), "charm"),
    (("ended",), "somehow"),
]


@pytest.mark.parametrize(("place", "value"), WRITTEN, ids=lambda each: str(each)[:40])
def test_what_a_stranger_writes_into_a_file_is_refused(tmp_path, monkeypatch, place, value) -> None:
    data = json.loads(json.dumps(drill_record(drilled("C3 open"))))
    at = data
    for key in place[:-1]:
        at = at[key]
    at[place[-1]] = value
    monkeypatch.setattr(keep, "drill_record", lambda _: data)
    monkeypatch.setattr(keep.json, "dumps", lambda each, **_: json_text(each))
    file = tmp_path / "a.txt"
    file.write_text(keep.packed(drilled("C3 open")))
    with pytest.raises(UserError, match=r"does not fit|damaged"):
        check_fits(keep.read(file), megaphone()[1], file)


json_text = json.JSONEncoder(allow_nan=True).encode


def test_a_unit_that_has_changed_is_told(tmp_path) -> None:
    drill = drilled("C3 open")
    assert check_fits(drill, megaphone()[1], tmp_path) == ""
    changed = replace(drill, hidden=replace(drill.hidden, made_of="0" * 16))
    assert "has changed" in check_fits(changed, megaphone()[1], tmp_path)
