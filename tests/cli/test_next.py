"""``lostgain next`` and the end of ``lostgain match``."""

from __future__ import annotations

import json

import pytest

from tests.cli.run import CHAIN, UNITS, WEAK, refused, run


def test_next_says_what_to_read_and_what_to_expect(capsys) -> None:
    code, out, _ = run(capsys, "next", CHAIN, WEAK)
    assert code == 0
    assert out.startswith("What to do next\n")
    flat = " ".join(out.split())
    assert " bit)" in flat
    assert "U101" not in flat or "Down line" in flat


def test_next_before_any_reading(capsys) -> None:
    code, out, _ = run(capsys, "next", CHAIN)
    assert code == 0
    assert "1. " in out


def test_next_as_one_json_object(capsys) -> None:
    code, out, _ = run(capsys, "next", CHAIN, WEAK, "--json")
    assert code == 0
    found = json.loads(out)
    assert set(found) == {"next", "stop", "parts", "action", "instead", "text"}
    assert found["next"]
    for each in found["next"]:
        assert each["minutes"] > 0
        assert each["information"] >= 0
        assert each["rate"] * each["minutes"] == pytest.approx(each["information"])
    reading = next(each for each in found["next"] if each["kind"] == "reading")
    assert {"point", "quantity", "frequency", "channel", "instrument", "expected"} <= set(reading)
    for one in reading["expected"]:
        assert one["low"] <= one["value"] <= one["high"]


def test_next_leaves_out_what_cannot_be_reached(capsys, tmp_path) -> None:
    file = tmp_path / "barred.csv"
    file.write_text(WEAK.read_text(encoding="utf-8") + "U1 pin 1,,can't reach,,Up line\n", encoding="utf-8")
    _, out, _ = run(capsys, "next", CHAIN, file, "--json")
    found = json.loads(out)
    assert "U1 pin 1" not in {each.get("point") for each in found["next"] if each.get("channel") == "Up line"}
    assert "U1 pin 1" in {each["point"] for each in found["instead"]}


def test_a_file_of_what_cannot_be_reached_alone_will_do(capsys, tmp_path) -> None:
    """It is how a technician says so before the first reading."""
    first = json.loads(run(capsys, "next", CHAIN, "--json")[1])["next"][0]
    file = tmp_path / "barred.csv"
    file.write_text(f"test point,value\n{first['point']},can't reach\n", encoding="utf-8")
    found = json.loads(run(capsys, "next", CHAIN, file, "--json")[1])
    assert found["next"]
    assert first["point"] not in {each.get("point") for each in found["next"]}


def test_what_is_to_be_known_of_the_readings_is_told_beside(capsys, tmp_path) -> None:
    file = tmp_path / "slip.csv"
    file.write_text(WEAK.read_text(encoding="utf-8") + "U1 pin 1,,300 Vpp,,Up line\n", encoding="utf-8")
    _, _, err = run(capsys, "next", CHAIN, file, "--json")
    assert "! " in err
    assert "300 Vpp" in err


def test_a_wrong_file_is_said_before_anything_is_simulated(capsys, tmp_path) -> None:
    file = tmp_path / "wrong.csv"
    file.write_text("test point,value\nU1 pin 77,1 Vpp\n", encoding="utf-8")
    err = refused(capsys, "next", CHAIN, file)
    assert "wrong.csv, line 2" in err
    assert "Did you mean U1 pin 3" in err


def test_match_ends_with_the_first_line_of_next(capsys) -> None:
    code, out, _ = run(capsys, "match", CHAIN, WEAK)
    assert code == 0
    assert "Next:" in out


def test_next_for_a_unit_that_stays_off(capsys) -> None:
    code, out, _ = run(capsys, "next", str(UNITS / "megaphone"), "--stay-off", "--stage", "second stage", "--json")
    assert code == 0
    found = json.loads(out)
    assert {each["power"] for each in found["next"]} == {"off"}
    assert "no stage 'third'" in refused(capsys, "next", str(UNITS / "megaphone"), "--stage", "third")
