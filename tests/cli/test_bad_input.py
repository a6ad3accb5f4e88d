"""Everything a person can get wrong: a message that names file, line and word, exit code 2, and no traceback."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import lostgain.engine
from tests.cli.run import CHAIN, FILTER, READINGS, WEAK, refused

Edit = Callable[..., Path]


@pytest.fixture
def edited(tmp_path: Path) -> Edit:
    """Return a copy of a unit in which one text is replaced by another."""

    def make(unit: str, file: str, old: str, new: str) -> Path:
        folder = tmp_path / Path(unit).name
        shutil.copytree(unit, folder)
        text = (folder / file).read_text(encoding="utf-8")
        assert text.count(old) == 1
        (folder / file).write_text(text.replace(old, new), encoding="utf-8")
        return folder

    return make


def line_of(path: Path, text: str) -> str:
    """Return ``FILE, line N`` for the first line that holds a text."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return f"{path}, line {next(number for number, line in enumerate(lines, 1) if text in line)}"


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("R33 open", ["R33", "Did you mean R3"]),
        ("C2 opne", ["opne", "Did you mean open"]),
        ("C2", ["C2", "C7 open"]),
        ("R3 drift", ["how much", "3x"]),
        ("R3 drift blue", ["blue", "3x"]),
        ("", ["no fault"]),
    ],
)
def test_a_fault_that_is_none(capsys, fault: str, words: list[str]) -> None:
    said = refused(capsys, "predict", CHAIN, "--fault", fault)
    assert "command line" in said
    assert all(word in said for word in words)


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("unit.toml", 'RF = "R3 22k"', 'RFB = "R3 22k"', ["RFB", "RF"]),
        ("unit.toml", 'RF = "R3 22k"', 'RF = "R3 22q"', ["22q", "22 kΩ"]),
        ("unit.toml", 'RG = "R2 2k2 5%"', 'RG = "R3 2k2 5%"', ["R3", "used twice"]),
        (
            "unit.toml",
            '"U1A opamp-jfet"',
            '"U1A 5532"',
            ["5532", "Write the class of device it is: opamp-bipolar, opamp-jfet"],
        ),
        ("unit.toml", 'out = "TP4"', 'ouch = "TP4"', ["ouch", "out"]),
        ("unit.toml", 'generator = "200 mV rms"', 'generator = "200 mA"', ["200 mA", "420 mV rms"]),
        ("unit.toml", 'level = "2.2 V rms"', 'level = "2.2 ohm"', ["2.2 ohm"]),
        ("unit.toml", 'use = "noninverting"', 'use = "nonivnerting"', ["nonivnerting", "noninverting"]),
    ],
)
def test_a_mistake_in_a_unit_file(capsys, edited: Edit, file: str, old: str, new: str, words: list[str]) -> None:
    unit = edited(CHAIN, file, old, new)
    said = refused(capsys, "check", unit)
    assert line_of(unit / file, new) in said
    assert all(word in said for word in words)


@pytest.mark.parametrize("words", [("match", WEAK), ("next", WEAK), ("bench",), ("route",)])
def test_a_mistake_in_the_units_own_allowances_is_told_before_anything_is_simulated(
    capsys, edited: Edit, monkeypatch: pytest.MonkeyPatch, words: tuple[object, ...]
) -> None:
    unit = edited(CHAIN, "unit.toml", "200 mV rms", "200 mV rms")
    (unit / "allowances.toml").write_text("[model]\nloose_point_bd = 1.0\n", encoding="utf-8")
    monkeypatch.setattr(lostgain.engine.Pool, "map", lambda *_: pytest.fail("something is simulated"))
    said = refused(capsys, words[0], unit, *words[1:])
    assert f"{unit / 'allowances.toml'}, line 2" in said
    assert "Did you mean loose_point_db" in said


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("R2 a b 10k", "R2 a nowhere 10k", ["nowhere"]),
        ("X1", ".control\nshell true\n.endc\nX1", [".control"]),
        ("R2 a b 10k", "R2 a b 10k\nD1 b 0 missing", ["D1", "missing"]),
        ("R2 a b 10k", "R2 a b 10k2", ["10k2", "10.2k"]),
    ],
)
def test_a_mistake_in_a_netlist(capsys, edited: Edit, old: str, new: str, words: list[str]) -> None:
    unit = edited(FILTER, "filter.cir", old, new)
    said = refused(capsys, "check", unit)
    assert str(unit / "filter.cir") in said
    assert all(word in said for word in words)


def test_a_test_point_on_no_node(capsys, edited: Edit) -> None:
    unit = edited(FILTER, "unit.toml", 'node = "a"', 'node = "aa"')
    said = refused(capsys, "check", unit)
    assert str(unit / "unit.toml") in said
    assert "TP1" in said or "aa" in said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (READINGS.replace("channel\n", "chanel\n", 1), ["line 3", "chanel", "channel"]),
        (READINGS.replace("point,quantity", "point,colour", 1), ["line 3", "colour"]),
        (READINGS.replace("500 Hz,Up line\n", "500 Hz,Up lime\n", 1), ["line 4", "Up lime", "Up line"]),
        (READINGS.replace("U1 pin 3", "U1 pin 33"), ["line 5", "U1 pin 33", "U1 pin 3"]),
        (READINGS.replace("50 mV rms", "50 mA"), ["line 8", "50 mA"]),
        ("", ["empty"]),
        ("\n\n", ["empty"]),
        ("test point,quantity,value\n", ["no reading"]),
        ("x" * 10_000_000, ["MB"]),
    ],
)
def test_a_mistake_in_a_readings_file(capsys, tmp_path: Path, text: str, words: list[str]) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    said = refused(capsys, "match", CHAIN, path)
    assert str(path) in said
    assert all(word in said for word in words)
    assert len(said) < 2000


def test_files_that_are_not_there(capsys, tmp_path: Path) -> None:
    assert "nowhere.csv" in refused(capsys, "match", CHAIN, tmp_path / "nowhere.csv")
    assert "Did you mean ferry-terminal" in refused(capsys, "check", "fery-terminal")
    assert "unit.toml" in refused(capsys, "check", tmp_path)
    empty = tmp_path / "unit.toml"
    empty.write_text("", encoding="utf-8")
    assert str(empty) in refused(capsys, "check", empty)
    empty.write_text("x" * 10_000_000, encoding="utf-8")
    assert str(empty) in refused(capsys, "check", empty)


def test_places_that_cannot_be_written(capsys, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    said = refused(capsys, "sheet", FILTER, "--html", tmp_path / "file" / "a.html")
    assert "a.html" in said
    for command in (("predict", FILTER, "--fault", "R1 open"), ("match", CHAIN, WEAK)):
        for words in (command, (*command, "--json")):  # told before anything is computed or printed
            said = refused(capsys, *words, "--pictures", tmp_path / "file")
            assert f"{tmp_path / 'file'}: this folder cannot be made or written to" in said
    assert "this is a folder" in refused(capsys, "sheet", FILTER, "--pdf", tmp_path)
    for words in (("sheet", "--pdf", "a.html"), ("sheet", "--html", "a.pdf"), ("explain", "--html", "a.txt"),
                  ("route", "--html", "a")):  # fmt: skip
        place = tmp_path / words[2]
        ending = words[1].replace("--", ".")
        assert f"{place}: the name of this file should end in {ending}." in refused(
            capsys, words[0], FILTER, words[1], place
        )
        assert not place.exists()
    assert "this is a folder" in refused(capsys, "match", CHAIN, WEAK, "--table", tmp_path)
    assert "cannot be written" in refused(capsys, "bench", CHAIN, tmp_path / "file" / "new.csv")


def test_a_file_in_the_place_of_another(capsys, tmp_path: Path) -> None:
    unit_file, netlist = Path(FILTER) / "unit.toml", Path(FILTER) / "filter.cir"
    assert "lostgain match UNIT READINGS" in refused(capsys, "check", WEAK)
    assert "this is a readings file" in refused(capsys, "match", WEAK, CHAIN)
    assert "this is a netlist" in refused(capsys, "check", netlist)
    for command in ("match", "next", "bench"):
        assert "this is a unit file; a readings file (CSV) is wanted" in refused(capsys, command, CHAIN, unit_file)
        assert "this is the folder of a unit; a readings file" in refused(capsys, command, CHAIN, FILTER)
        assert "this is a netlist; a readings file" in refused(capsys, command, CHAIN, netlist)
    assert "this is the name of a unit" in refused(capsys, "match", CHAIN, "ferry-terminal")
    assert "this is a folder" in refused(capsys, "match", CHAIN, tmp_path)


def test_readings_at_a_frequency_that_nothing_is_simulated_at(capsys, tmp_path: Path) -> None:
    path = tmp_path / "off.csv"
    path.write_text("point,value,frequency,channel\nU1 pin 1,1 Vpp,777 Hz,Up line\n", encoding="utf-8")
    for command in ("match", "next"):
        said = refused(capsys, command, CHAIN, path)
        assert f"{path}, line 2: 777 Hz is none of the set-up's frequencies" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["mach", "x", "y"], "Did you mean match?"),
        ([], "COMMAND"),
        (["match", CHAIN], "READINGS"),
        (["match", CHAIN, "x.csv", "--jsn"], "Did you mean --json or --new?"),
        (["table", CHAIN, "--workers", "none"], "'none' is no number of workers"),
        (["units", "here"], "'here' is one word too many"),
        (["match", CHAIN, "x.csv", "--rates", "benhc"], "bench"),
        (["check", "a\x1b[31m"], "no unit"),
        (["--hlp"], "there is no option '--hlp'. Did you mean --help?"),
        (["match", CHAIN, WEAK, "--suspect", "R999"], "there is no part R999"),
        (["match", CHAIN, WEAK, "--age", "old"], "'old' is no number of years"),
        (["drill", CHAIN, "--level", "first"], "'first' is no whole number"),
        (["drill", CHAIN, "--seed", "1.5"], "'1.5' is no whole number"),
        (["table", CHAIN, "--scheduler", "nowhere"], "no Dask scheduler can be reached at 'nowhere'. Expected HOST"),
        (["table", CHAIN, "--scheduler", "http://bench:8786"], "Expected HOST:PORT"),
        (["table", CHAIN, "--scheduler", "bench:99999"], "Expected HOST:PORT"),
        (["match", CHAIN, ""], "say which readings file"),
    ],
)
def test_words_the_command_line_does_not_take(capsys, words: list[str], said: str) -> None:
    err = refused(capsys, *words)
    assert said in err
    assert "\x1b" not in err


def test_one_failure_named_twice(capsys) -> None:
    said = refused(capsys, "predict", CHAIN, "--fault", "C2 open", "--fault", "c2  open")
    assert "'c2  open' is named twice" in said
