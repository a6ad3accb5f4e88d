"""Readings with the power off at the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lostgain.bench.session import Session
from lostgain.diagnosis.moves import facts
from lostgain.faults import rates
from tests.cli.run import UNITS, refused, run
from tests.diagnosis.megaphone import megaphone

UNIT = str(UNITS / "megaphone")
LINES = "test point,quantity,value,frequency,channel\nU1 pin 1,level,280 mV rms,500 Hz,Port\n"


@pytest.fixture
def typed(tmp_path: Path) -> Path:
    path = tmp_path / "ohms.csv"
    rows = "R3,resistance,5k6,,Port\nC3,esr,1.3,,Port\nR3 lifted,resistance,5k6,,Port\n"
    path.write_text(LINES + rows, encoding="utf-8")
    return path


def test_match_says_what_is_certain(capsys, typed: Path) -> None:
    code, out, _ = run(capsys, "match", UNIT, typed)
    assert code == 0
    assert "With the power off" in out
    flat = " ".join(out.split())
    assert "R3 (Port), 5k6 out of circuit instead of 2.2 kΩ: it is bad." in flat
    assert "R3 drift" in flat.split("Look-alikes")[0]


def test_match_as_json(capsys, typed: Path) -> None:
    code, out, _ = run(capsys, "match", UNIT, typed, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["checks"]
    assert found["suspects"][0]["part"] == "R3"


def test_next_weighs_them_where_asked(capsys, tmp_path: Path) -> None:
    path = tmp_path / "level.csv"
    more = "".join(f"U1 pin 1,level,280 mV rms,{at},Port\n" for at in ("40 Hz", "10 kHz"))
    path.write_text(LINES + more + "U1 pin 1,dc,2 mV,,Port\n", encoding="utf-8")
    code, out, _ = run(capsys, "next", UNIT, path, "--power-off", "--json")
    found = json.loads(out)
    assert code == 0
    off = [each for each in found["next"] if each.get("power") == "off" and each["kind"] == "reading"]
    assert off
    assert off[0]["minutes"] >= facts().power_off.each
    assert off[0]["quantity"] in ("resistance", "esr")
    # From then on they are weighed without being asked for.
    again = json.loads(run(capsys, "next", UNIT, path, "--json")[1])
    assert [each["kind"] for each in again["next"]] == [each["kind"] for each in found["next"]]


def test_predict_shows_what_meters_would(capsys) -> None:
    code, out, _ = run(capsys, "predict", UNIT, "--fault", "C3 esr 47", "--power-off")
    assert code == 0
    last = out.split("With the power off")[1]
    assert "1.25 Ω" in last
    assert "48.2 Ω" in last
    record = json.loads(run(capsys, "predict", UNIT, "--fault", "R6 open", "--power-off", "--json")[1])
    first = record["power_off"][0]
    assert (first["point"], first["quantity"]) == ("R6", "resistance")
    assert first["faulty"] > 100 * first["healthy"]  # what is left leads round through the leakage of C3
    lifted = next(each for each in record["power_off"] if each["point"] == "R6" and each["lifted"])
    assert lifted["faulty"] is None  # over range


def test_the_sheet_lists_the_parts(capsys) -> None:
    code, out, _ = run(capsys, "sheet", UNIT, "--power-off")
    assert code == 0
    assert "Power off: across the parts" in out
    assert "resistance 33 kΩ" in out
    assert "across the parts" not in run(capsys, "sheet", UNIT)[1]


def test_a_part_that_is_not_there(capsys, tmp_path: Path) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text(LINES + "R33,resistance,5k6,,Port\n", encoding="utf-8")
    said = refused(capsys, "match", UNIT, path)
    assert "line 3" in said
    assert "Did you mean" in said


def test_a_session_simulates_what_it_needs(tmp_path: Path) -> None:
    session = Session(megaphone(), tmp_path / "s.csv", rates("bench"))
    session.open()
    session.take(session.place("R3, resistance, Port"), "5k6")
    assert session.lacks()
    session.simulate()
    assert not session.lacks()
    verdict = session.verdict()
    assert verdict is not None
    assert verdict.suspects[0].part == "R3"
    step = session.step(verdict)
    assert step.action is not None
    assert step.action.name == "lift"
    session.take(session.place("R3 lifted, resistance, Port"), "5k6")
    assert session.step(session.verdict()).action is None  # it was lifted already
