"""Units run apart are counted together as if they had been run at once."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks import outcomes as kept
from benchmarks.__main__ import main
from benchmarks.accuracy import _count
from benchmarks.isolate import Isolated
from tests.benchmarks.test_score import answer, scored, truth

PLAN = {"cases": 4, "seed": 1}


def units() -> list[kept.Outcomes]:
    """Two units with everything in them that outcomes can hold."""
    one = scored(references=True)
    pairs = [(truth("R1"), answer(R1=0.9, R3=0.1), answer(R1=0.4, R3=0.6))]
    walks = {"next": Isolated(2, 3.0, "part", True), "walk": Isolated(5, 9.0, "part", False)}
    full = replace(
        one, paired=pairs, followed=[walks, {}], searched=[{"optimal": (2.0, 1.0, 0.9), "next": (2.2, 1.0, 0.9)}]
    )
    other = scored(references=True)
    return [kept.outcomes(each, PLAN) for each in (full, replace(other, unit="other", ours=other.ours[::-1], lost=2))]


def test_together_is_as_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for each in units():
        kept.write(each, tmp_path / "kept")
    assert main(["together", str(tmp_path / "kept"), "--out", str(tmp_path / "apart.json")]) == 0
    apart = capsys.readouterr().out
    _count(units(), tmp_path / "once.json", lambda line: None)
    assert apart == capsys.readouterr().out
    found, once = (json.loads((tmp_path / name).read_text()) for name in ("apart.json", "once.json"))
    assert found == once
    assert found["over_all"]["part_top1"]["cases"] == 8


def test_outcomes_of_other_code_are_said_to_be(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, other = units()
    kept.write(one, tmp_path)
    kept.write(replace(other, code="0123"), tmp_path)
    assert main(["together", str(tmp_path), "--out", str(tmp_path / "f.json")]) == 0
    assert "different code: " in (said := capsys.readouterr().err)
    assert "other 0123" in said


def test_code_is_told_apart_by_what_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Any change to a file that has a say gives another digest; the same files give the same one."""
    before = kept.digest()
    assert kept.digest() == before
    monkeypatch.setattr(kept.shipped, "folder", lambda: tmp_path)
    (tmp_path / "rates.toml").write_text("open = 0.1\n")
    other = kept.digest()
    (tmp_path / "rates.toml").write_text("open = 0.2\n")
    assert len({before, other, kept.digest()}) == 3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "there is none"),
        ('{"scored": 1', "expected what `scripts/bench accuracy --outcomes` writes"),
        ('{"scored": {}, "plan": {}, "process": {}, "code": "x"}', "expected what `scripts/bench accuracy --outcomes`"),
        ("\xff", "expected what"),
    ],
)
def test_bad_files_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str | None, said: str) -> None:
    if text is not None:
        (tmp_path / f"filter{kept.ENDING}").write_bytes(text.encode("latin-1"))
    assert main(["together", str(tmp_path), "--out", str(tmp_path / "f.json")]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert str(tmp_path) in error
    assert not (tmp_path / "f.json").exists()


def test_another_process_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept.write(replace(units()[0], process={"mix": {"healthy": 0.5}}), tmp_path)
    assert main(["together", str(tmp_path), "--out", str(tmp_path / "f.json")]) == 2
    assert "another process" in capsys.readouterr().err
