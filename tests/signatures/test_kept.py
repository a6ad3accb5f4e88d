"""Finished rows in the database: what is found is whole and the one asked for."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from lostgain.problems import UserError
from lostgain.signatures.kept import Kept


@dataclass
class Row:
    level: np.ndarray = field(default_factory=lambda: np.array([[1.0, np.nan], [1 / 3, -0.0]]))
    phasor: np.ndarray = field(default_factory=lambda: np.array([1e-300 + 2j]))
    status: str = "ok"


@dataclass
class Other:
    level: np.ndarray
    status: str = "ok"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "rows.db"


@pytest.fixture
def kept(path: Path) -> Iterator[Kept]:
    with closing(Kept(path)) as kept:
        yield kept


def test_a_row_comes_back_to_the_bit(kept: Kept) -> None:
    kept.add("a", Row(status="no transient at 40 Hz: µ"))
    found = kept.find(["a", "b"], Row())
    assert list(found) == ["a"]
    assert found["a"].level.tobytes() == Row().level.tobytes()
    assert found["a"].phasor.tobytes() == Row().phasor.tobytes()
    assert found["a"].status == "no transient at 40 Hz: µ"


def test_rows_of_another_size_or_class_are_not_taken(kept: Kept) -> None:
    kept.add("a", Row())
    kept.add("b", Other(np.zeros(3)))
    assert kept.find(["a"], Row(level=np.zeros((2, 3)))) == {}
    assert kept.find(["a"], Other(np.zeros((2, 2)))) == {}
    assert kept.find(["b"], Row()) == {}
    assert list(kept.find(["b"], Other(np.ones(3)))) == ["b"]


def test_damaged_rows_are_not_taken(path: Path, kept: Kept) -> None:
    for key in "abcd":
        kept.add(key, Row())
    with closing(sqlite3.connect(path)) as base, base:
        (whole,) = base.execute("select numbers from rows where key = 'a'").fetchone()
        middle = len(whole) // 2
        for key, blob in [
            ("a", whole[:middle]),
            ("b", whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]),
            ("c", "text"),
            ("d", None),
            ("e", whole),  # under the key of another
        ]:
            base.execute("insert or replace into rows values (?, ?)", (key, blob))
    assert kept.find("abcde", Row()) == {}


@pytest.mark.parametrize("damage", ["no database at all" * 50, "", "other tables", "cut", "middle"])
def test_a_damaged_database_is_made_anew(path: Path, damage: str) -> None:
    with closing(Kept(path)) as kept:
        for number in range(200):
            kept.add(str(number), Row(level=np.random.default_rng(number).random((8, 8))))
    whole = path.read_bytes()
    if damage == "other tables":
        path.unlink()
        with closing(sqlite3.connect(path)) as base:
            base.execute("create table rows (number integer)")
    elif damage == "cut":
        path.write_bytes(whole[: len(whole) // 2])
    elif damage == "middle":
        path.write_bytes(whole[:2000] + bytes(len(whole) // 2) + whole[2000 + len(whole) // 2 :])
    else:
        path.write_text(damage)
    with closing(Kept(path)) as kept:
        kept.find([str(number) for number in range(200)], Row(level=np.zeros((8, 8))))
        kept.add("new", Row())
        assert list(kept.find(["new"], Row())) == ["new"]


def test_two_processes_may_write_at_once(path: Path) -> None:
    with closing(Kept(path)) as one, closing(Kept(path)) as other:
        for number in range(20):
            one.add(f"one {number}", Row())
            other.add(f"other {number}", Row())
        assert len(one.find([f"{who} {number}" for who in ("one", "other") for number in range(20)], Row())) == 40


def test_rows_that_were_not_used_for_longest_go_out(path: Path, kept: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr("lostgain.signatures.kept.time.time", lambda: now[0])
    keys = [str(number) for number in range(400)]
    for key in keys:
        now[0] += 1
        kept.add(key, Row(level=np.random.default_rng(int(key)).random((20, 20))))
    kept.find(keys[:50], Row(level=np.zeros((20, 20))))  # old, and used again just now
    assert kept.trim() == 0
    size = path.stat().st_size
    gone = kept.trim(size // 2)
    assert 150 <= gone <= 300
    left = kept.find(keys, Row(level=np.zeros((20, 20))))
    assert set(left) == {*keys[:50], *keys[50 + gone :]}
    for key in keys[50 : 50 + gone]:
        kept.add(key, Row(level=np.random.default_rng(int(key)).random((20, 20))))
    assert path.stat().st_size < 1.1 * size  # the room of what went out is used again


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="Set LOSTGAIN_CACHE"):
        Kept(tmp_path / "nowhere" / "rows.db")
