"""``lostgain drill``, ``progress`` and ``mark``: conversations typed into them, and what is said of wrong words."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from lostgain.teach import keep
from tests.cli.run import UNITS, refused, run

MEGAPHONE = str(UNITS / "megaphone")
SOLVE = ("U1 pin 1", "power off", "C3, esr", "replace C3", "power on", "U1 pin 7", "list", "sign off")


@pytest.fixture
def talk(capsys, monkeypatch, tmp_path: Path):
    """Type lines into a drill and return exit code, stdout and stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LOSTGAIN_DATA", str(tmp_path / "data"))

    def typed(lines: tuple[str, ...], *words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        code, out, err = run(capsys, "drill", *words)
        assert "Traceback" not in err
        return code, out, err

    return typed


def test_a_drill_is_saved_shared_solved_marked_and_remembered(talk, capsys, tmp_path) -> None:
    words = ("--fault", "C3 open", "--channel", "Port", "--level", "2", "--seed", "4", "--save", "shared.txt")
    assert talk((), MEGAPHONE, *words)[0] == 0
    before = Path("shared.txt").read_text()
    code, out, err = talk(SOLVE, "shared.txt", "--unit", MEGAPHONE, "--png", "pictures")
    assert code == 0
    assert "Work order" in out
    assert "2 cycles, 4 ms" in out  # the oscilloscope
    assert "Repaired." in out
    assert "What was known, and when" in out
    assert Path("pictures/step-001.png").stat().st_size > 1000
    assert Path("pictures/levels.png").exists()
    assert Path("shared.txt").read_text() == before  # what was shared is left alone
    assert "megaphone-drill.txt" in err

    code, out, _ = run(capsys, "mark", "megaphone-drill.txt", "shared.txt")
    assert code == 0
    assert "repaired" in out
    assert "unfinished" in out
    assert "repaired" in run(capsys, "mark", "megaphone-drill.txt", "--csv", "marks.csv")[1]
    _, out, _ = run(capsys, "mark", "megaphone-drill.txt", "--json", "--csv", "marks.csv")
    assert json.loads(out)[0]["failed"] == "C3 open"
    _, other, _ = run(capsys, "mark", "shared.txt", "--json")
    found = json.loads(other)[0]
    assert (found["failed"], found["channel"]) == ("", ""), "it is still the apprentice's to find"
    assert len(list(csv.DictReader(io.StringIO(Path("marks.csv").read_text())))) == 1

    _, out, _ = run(capsys, "progress", "--json", "--export", "done.csv")
    assert json.loads(out)["solved"] == 1
    assert next(csv.DictReader(io.StringIO(Path("done.csv").read_text())))["kinds"] == "electrolytic"
    assert "1 solved" in run(capsys, "progress")[1]


def test_a_drill_is_paused_and_goes_on(talk) -> None:
    code, _, err = talk(("U1 pin 7", "end"), MEGAPHONE, "--seed", "1", "--work", "mine.txt")
    assert code == 0
    assert "--resume mine.txt" in err
    assert len(keep.read(Path("mine.txt")).readings) == 1
    code, out, _ = talk(("U1 pin 7", "earth lift"), "--resume", "mine.txt", "--unit", MEGAPHONE, "--no-debrief")
    assert code == 0
    assert "The drill stops here" in out
    drill = keep.read(Path("mine.txt"))
    assert len(drill.readings) == 2
    assert drill.hazard == "lifted-earth"


def test_words_of_its_own_and_mistakes_cost_nothing(talk) -> None:
    lines = ("help", "points", "parts", "order", "list", "U1 pin 9", "power", "", "end")
    code, out, _ = talk(lines, MEGAPHONE, "--seed", "1", "--level", "3", "--work", "mine.txt")
    assert code == 0
    for said in ("sign-off", "U1 pin 7 / U101 pin 7", "electrolytic", "no test point 'U1 pin 9'", "Nothing so far"):
        assert said in out
    assert keep.read(Path("mine.txt")).minutes == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "a unit, or a saved drill, is wanted"),
        ((MEGAPHONE, "--level", "9"), "no level 9"),
        ((MEGAPHONE, "--seed", "-1"), "from 0 on"),
        ((MEGAPHONE, "--fault", "C3 open"), "--fault with --save"),
        ((MEGAPHONE, "--fault", "C3 open", "--save", "a.txt", "--channel", "Astern"), "no channel 'Astern'"),
        ((MEGAPHONE, "--fault", "C3 open", "--save", "a.txt", "--condition", "warm"), "belongs to --level 5"),
        ((MEGAPHONE, "--fault", "R4 drift 1.1x", "--save", "a.txt"), "nothing of that would be noticed"),
        ((MEGAPHONE, "--resume", "a.txt"), "leave the other word out"),
        (("--resume", "nowhere.txt"), "cannot be read"),
        ((MEGAPHONE, "--save", "nowhere/a.txt"), "cannot be written"),
        ((str(UNITS / "sallen-key"), "--level", "2"), "needs a good channel"),
    ],
)
def test_wrong_words(capsys, monkeypatch, tmp_path, words: tuple[str, ...], said: str) -> None:
    monkeypatch.chdir(tmp_path)
    assert said in refused(capsys, "drill", *words)
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_drill_is_not_marked(capsys, tmp_path) -> None:
    (tmp_path / "a.txt").write_text("hello\n")
    assert "no drill" in refused(capsys, "mark", tmp_path / "a.txt")


def test_ctrl_c_leaves_a_drill_that_goes_on(tmp_path) -> None:
    environment = {**os.environ, "LOSTGAIN_DATA": str(tmp_path)}
    command = [sys.executable, "-m", "lostgain", "drill", MEGAPHONE, "--seed", "1", "--work", "mine.txt"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=environment,
    ) as process:  # fmt: skip
        process.stdin.write("U1 pin 7\n")
        process.stdin.flush()
        for line in process.stdout:
            if "[1 min]" in line:
                break
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "lostgain drill --resume mine.txt" in err
    assert len(keep.read(tmp_path / "mine.txt").readings) == 1


def test_a_debrief_can_be_had_later_and_counts_once(talk, capsys) -> None:
    lines = ("power off", "replace R4", "sign off")
    _, out, _ = talk(lines, MEGAPHONE, "--seed", "1", "--level", "2", "--work", "mine.txt", "--no-debrief")
    assert "What had failed" not in out
    for _ in range(2):
        code, out, _ = talk((), "--resume", "mine.txt", "--unit", MEGAPHONE)
        assert code == 0
        assert "What had failed" in out
    assert json.loads(run(capsys, "progress", "--json")[1])["drills"] == 1


def test_readings_come_without_pictures_where_none_are_wanted(talk) -> None:
    lines = ("pictures off", "U1 pin 1", "pictures", "pictures on", "U1 pin 6", "parts second", "end")
    _, out, _ = talk(lines, MEGAPHONE, "--seed", "1")
    assert "without the oscilloscope's picture; type pictures on or pictures off" in " ".join(out.split())
    before, after = out.split("> U1 pin 6")
    assert "2 cycles" not in before
    assert "2 cycles" in after
    assert "Input coupling" not in after.split("> parts second")[1].split("> end")[0]
