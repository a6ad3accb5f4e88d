"""``lostgain import``: what it writes, prints and refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import lostgain
from tests.cli.run import refused, run

CORPUS = Path(__file__).resolve().parent.parent / "netlists" / "corpus"
LINE = CORPUS / "plain" / "line.cir"


def test_a_unit_is_written_that_opens(capsys, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "import", LINE)
    assert code == 0
    assert sorted(each.name for each in (tmp_path / "line").iterdir()) == ["circuit.cir", "unit.toml"]
    assert "Doubtful: look at these first" in out
    assert "lostgain check line" in out
    assert "Written: line/unit.toml" in err
    unit = lostgain.open_unit(tmp_path / "line")
    assert [stage.name for stage in unit.stages] == [
        "Coupling C1",
        "Amplifier U1A",
        "Amplifier U1B",
        "Supply and reference",
    ]
    assert unit.parts["RV1"].value == pytest.approx(10e3)
    assert unit.mains


def test_doubts_stand_at_their_lines(capsys, tmp_path: Path) -> None:
    run(capsys, "import", LINE, "--out", tmp_path / "u")
    text = (tmp_path / "u" / "unit.toml").read_text(encoding="utf-8")
    assert re.search(r'^C2 = "electrolytic"   # doubtful: by its value of 4.7 µF; it may be film.$', text, re.MULTILINE)
    assert re.search(r"^# doubtful: a netlist does not say what feeds it.*\nmains = true$", text, re.MULTILINE)
    assert max(map(len, text.splitlines())) <= 120


def test_nothing_is_overwritten(capsys, tmp_path: Path) -> None:
    out = tmp_path / "u"
    out.mkdir()
    (out / "unit.toml").write_text("mine")
    said = refused(capsys, "import", LINE, "--out", out)
    assert "not overwritten" in said
    assert (out / "unit.toml").read_text() == "mine"
    assert [each.name for each in out.iterdir()] == ["unit.toml"]


def test_nothing_is_left_of_a_netlist_that_is_not_taken(capsys, tmp_path: Path) -> None:
    bad = tmp_path / "bad.cir"
    bad.write_text(LINE.read_text().replace("R3 b c 10k", "R3 b c"))
    said = refused(capsys, "import", bad, "--out", tmp_path / "u")
    assert f"{bad}, line 9" in said
    assert not (tmp_path / "u").exists()


def test_json_says_how_sure(capsys, tmp_path: Path) -> None:
    code, out, _ = run(capsys, "import", LINE, "--out", tmp_path / "u", "--json")
    found = json.loads(out)
    assert code == 0
    assert found["output"] == "out"
    assert found["rails"] == {"VCC": 15.0, "VEE": -15.0}
    assert {each["sure"] for each in found["guesses"]} == {"sure", "likely", "doubtful"}
    assert next(each for each in found["guesses"] if each["about"] == "C2")["line"] == 10
    assert next(each for each in found["parts"] if each["designator"] == "U1A")["pins"]["out"] == "c"
    assert found["worst"] < 1e-3


def test_a_hostile_title_reaches_neither_terminal_nor_file(capsys, tmp_path: Path) -> None:
    file = tmp_path / "a.cir"
    file.write_text(LINE.read_text().replace("Line amplifier", 'Line \x1b[31m"amplifier\\'), encoding="utf-8")
    run(capsys, "import", file, "--out", tmp_path / "u")
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    if (tmp_path / "u").exists():
        assert "\x1b" not in (tmp_path / "u" / "unit.toml").read_text(encoding="utf-8")
