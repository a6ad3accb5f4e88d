"""Each command on the units of the tests: what it prints, how it ends."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.run import CHAIN, FILTER, MIXED, UNITS, WEAK, run


def test_units_lists_those_shipped_and_those_here(capsys, monkeypatch) -> None:
    monkeypatch.chdir(UNITS)
    code, out, err = run(capsys, "units")
    assert (code, err) == (0, "")
    shipped, here = out.split("In this folder")
    assert "ferry-terminal" in shipped
    assert "Line amplifier of a signal hut" in here


def test_a_title_cannot_speak_to_the_terminal(capsys, monkeypatch, tmp_path: Path) -> None:
    unit = tmp_path / "odd"
    unit.mkdir()
    (unit / "unit.toml").write_text('[unit]\ntitle = "red \\u001b[31m alert"\n', encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    _, out, _ = run(capsys, "units")
    assert "red" in out
    assert "\x1b" not in out


def test_check_says_what_a_unit_holds(capsys) -> None:
    code, out, _ = run(capsys, "check", CHAIN)
    assert code == 0
    for part in ("Up line, Down line", "R3 22 kΩ", "U101 pin 1", "out of reach", "stand-in, not transcribed", "Mains"):
        assert part in out
    assert "All 3 printed values agree" in out


def test_check_names_a_slip(capsys, tmp_path: Path) -> None:
    unit = tmp_path / "chain"
    shutil.copytree(CHAIN, unit)
    text = (unit / "unit.toml").read_text(encoding="utf-8")
    assert 'RF = "R3 22k"' in text
    (unit / "unit.toml").write_text(text.replace('RF = "R3 22k"', 'RF = "R3 2k2"'), encoding="utf-8")
    code, out, _ = run(capsys, "check", unit)
    assert code == 0
    assert "do not agree" in out
    assert "R3 as 22 kΩ rather than 2.2 kΩ" in " ".join(out.split())


def test_check_of_a_unit_from_a_netlist_and_of_one_that_is_one(capsys) -> None:
    for unit in (MIXED, FILTER):
        code, out, _ = run(capsys, "check", unit)
        assert code == 0
        assert "stays at its operating point" in out


def test_predict_shows_gains_pictures_and_sentences(capsys) -> None:
    code, out, _ = run(capsys, "predict", CHAIN, "--fault", "C2 open")
    assert code == 0
    flat = " ".join(out.split())
    assert "whole at U1 pin 3 and 21 dB low at U1 pin 1" in flat
    # 1 + R3/R2 = 11 is 20.8 dB (textbook formula of the non-inverting stage); without its ground leg the gain is one
    assert "Gain stage U1 pin 3 to U1 pin 1 20.8 dB ×11 0.0 dB ×1" in flat
    assert "100 kHz" in out


def test_predict_of_a_part_of_the_second_channel(capsys) -> None:
    code, out, _ = run(capsys, "predict", CHAIN, "--fault", "c102 open")
    assert code == 0
    assert "C2 open" in out
    assert "named as in Up line" in " ".join(out.split())


def test_predict_says_when_a_failure_leaves_no_mark(capsys) -> None:
    code, out, _ = run(capsys, "predict", CHAIN, "--fault", "C1 joint 1")
    assert code == 0
    assert "leaves no mark" in " ".join(out.split())


def test_predict_in_json_of_two_at_once(capsys) -> None:
    code, out, _ = run(capsys, "predict", CHAIN, "--fault", "C2 open", "--fault", "R3 drift 2x", "--json")
    assert code == 0
    found = json.loads(out)
    assert [each["mode"] for each in found["faults"]] == ["open", "drift"]
    assert len(found["healthy"]["level"]) == len(found["points"]) == 5
    assert len(found["faulty"]["response"]) == len(found["sweep"])


def test_predict_draws_pictures(capsys, tmp_path: Path) -> None:
    code, _, err = run(capsys, "predict", CHAIN, "--fault", "C2 open", "--pictures", tmp_path / "new" / "folder")
    assert code == 0
    assert {path.name for path in (tmp_path / "new" / "folder").iterdir()} == {
        "levels.png", "dc.png", "waves.png", "response.png"
    }  # fmt: skip
    assert str(tmp_path / "new" / "folder" / "waves.png") in err


def test_table_is_built_once(capsys) -> None:
    code, out, _ = run(capsys, "table", FILTER, "--workers", "2")
    assert code == 0
    code, again, err = run(capsys, "table", FILTER)
    assert (code, again) == (0, out)
    assert "Simulating" not in err
    assert "draws of the part tolerances" in out


def test_sheet_in_the_terminal_and_for_print(capsys, tmp_path: Path) -> None:
    code, out, _ = run(capsys, "sheet", CHAIN)
    assert code == 0
    assert "U1 pin 1" in out
    code, out, err = run(capsys, "sheet", CHAIN, "--html", tmp_path / "a.html", "--pdf", tmp_path / "a.pdf")
    assert (code, out) == (0, "")
    assert "U1 pin 1" in (tmp_path / "a.html").read_text(encoding="utf-8")
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    assert "a.pdf" in err


def test_match_names_suspects_and_what_speaks_for_them(capsys) -> None:
    code, out, _ = run(capsys, "match", CHAIN, WEAK)
    assert code == 0
    order = ["Suspects", "C2 open (Gain stage, Up line)", "nothing is wrong", "Look-alikes", "beside what was read",
             "Failure rates: ", "Signature table: "]  # fmt: skip
    places = [out.index(each) for each in order]
    assert places == sorted(places)
    assert "for, >×1000" in out  # U1 pin 1: 20 dB below the healthy unit


def test_match_in_json_is_one_object_with_the_keys_promised(capsys) -> None:
    code, out, _ = run(capsys, "match", CHAIN, WEAK, "--json", "--rates", "handbook")
    assert code == 0
    assert out.count("\n") == 1
    found = json.loads(out)
    assert {"suspects", "healthy", "unexplained", "groups", "warnings", "table"} <= set(found)
    assert {"knowledge", "inseparable", "unmarked", "next"} <= set(found)
    _, text, _ = run(capsys, "match", CHAIN, WEAK, "--rates", "handbook")
    assert " ".join(text.split()).endswith(f"Next: {found['next']}")
    keys = {"part", "mode", "severity", "severity_text", "stage", "channel", "probability", "group"}
    assert all(set(each) == keys for each in found["suspects"])
    probabilities = [each["probability"] for each in found["suspects"]]
    assert probabilities == sorted(probabilities, reverse=True)
    assert sum(probabilities) + found["healthy"] + found["unexplained"] == pytest.approx(1)


def test_match_draws_pictures_beside_json(capsys, tmp_path: Path) -> None:
    code, out, _ = run(capsys, "match", CHAIN, WEAK, "--json", "--pictures", tmp_path / "pictures")
    assert code == 0
    json.loads(out)
    names = {path.name for path in (tmp_path / "pictures").iterdir()}
    assert {"readings.png", "suspects.png", "stage-1.png"} <= names


@pytest.mark.parametrize("command", ["units", "check", "predict", "table", "sheet", "match"])
def test_each_command_has_help(capsys, command: str) -> None:
    code, out, _ = run(capsys, command, "--help")
    assert code == 0
    assert command in out
