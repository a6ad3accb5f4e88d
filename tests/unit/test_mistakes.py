"""Every kind of mistake in a unit: the message has the file, the line, the word and the likely meaning.

Each case changes one of the test units in one place; the changed line is the one the message must name.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from lostgain.problems import Problem, UserError
from lostgain.unit import open_unit

UNITS = Path(__file__).resolve().parents[1] / "units"


def broken(folder: Path, unit: str, old: str, new: str, name: str = "unit.toml") -> tuple[tuple[Problem, ...], int]:
    """Return the problems of a unit changed in one place, and the line of the change."""
    shutil.copytree(UNITS / unit, folder / unit)
    file = folder / unit / name
    text = file.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    file.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(UserError) as raised:
        open_unit(folder / unit)
    lead = len(new) - len(new.lstrip("\n"))
    return raised.value.problems, text[: text.index(old)].count("\n") + 1 + lead


def named(problems: tuple[Problem, ...], line: int, words: list[str], guess: str) -> bool:
    """Tell whether one problem is at the line, has the words and makes the guess."""
    any_line = words[:1] == ["*"]
    wanted = words[1:] if any_line else words
    return any(
        "unit.toml, line " in str(problem)
        and (any_line or problem.where.line == line)
        and all(word in problem.message for word in wanted)
        and guess in problem.meant + problem.message
        for problem in problems
    )


#: Old text, new text, words of the message, the guess. "*" ahead of the words: the mistake shows in another line.
CHAIN = [
    ('RF = "R3 22k"', 'RFF = "R3 22k"', ["role", "RFF"], "RF"),
    ('use = "noninverting"', 'use = "noninvertin"', ["noninvertin"], "noninverting"),
    ('use = "level"', 'use = "stand-inn"', ["stand-inn"], "stand-in"),
    ('RF = "R3 22k"', 'RF = "R3 22x"', ["22x"], ""),
    ('RF = "R3 22k"', 'RF = "R3"', ["R3", "value"], ""),
    ('RF = "R3 22k"', "RF = 22000", ["22000", "quotes"], ""),
    ('RF = "R3 22k"', 'RF = "C3 22n film"', ["film", "resistor"], ""),
    ('RF = "R3 22k"', 'RF = "R3 22k"\nrf = "R4 22k"', ["*", "RF", "filled twice", "rf"], ""),
    ('U = "U1A opamp-jfet"', 'U = "U1A opamp-jfett"', ["opamp-jfett"], "opamp-jfet"),
    ('U = "U1A opamp-jfet"', 'U = "U1A"', ["U1A", "device class"], "opamp-jfet"),
    ('RG = "R2 2k2 5%"', 'RG = "R1 2k2 5%"', ["R1", "twice", "line 39"], ""),
    ('out = { name = "U1 pin 1"', 'outt = { name = "U1 pin 1"', ["outt"], "out"),
    ('out = "TP4"', 'mid = "TP4"', ["mid"], "out"),
    ('out = "TP4"', 'out = "U1 pin 3"', ["U1 pin 3"], ""),
    ('out = "TP4"', 'out = "TP4;quit"', ["TP4;quit"], ""),
    ('out = "TP4"', 'out = "TP`4`"', ["`"], ""),
    ("minutes = 2", "minutess = 2", ["minutess"], "minutes"),
    ("minutes = 2", 'minutes = "two"', ["two", "number"], ""),
    ("minutes = 2", "minutes = nan", ["nan"], ""),
    ("reach = false", 'reach = "no"', ["no", "true or false"], ""),
    ('level = "2.2 V rms"', 'level = "2.2 Hz"', ["2.2 Hz"], ""),
    ('level = "2.2 V rms"', 'dc = "2.2 V rms"', ["not TOML"], "twice"),
    ('level = "2.2 V rms"', 'level = "-2.2 V"', ["-2.2 V", "below zero"], ""),
    ('level = "2.2 V rms"', 'levl = "2.2 V rms"', ["levl"], "level"),
    ('printed = { dc = "0 V" }', 'printed = { dc = "1 Vpp" }', ["1 Vpp", "DC"], ""),
    ('generator = "200 mV rms"', 'generator = "200 mW"', ["200 mW"], ""),
    ('generator = "200 mV rms"', 'generatr = "200 mV rms"', ["generatr"], "generator"),
    ('load = "10k"', 'load = "10 Hz"', ["10 Hz"], ""),
    ('load = "10k"', 'load = "10k"\nload_rating = "5 V"', ["*", "5 V"], ""),
    ('load = "10k"', 'frequencies = ["500 Hz", "10 kHz", "40 Hz"]', ["middle"], ""),
    ('load = "10k"', 'frequencies = ["500 Ohm"]', ["500 Ohm"], ""),
    ('load = "10k"', "frequencies = []", ["one to eight"], ""),
    ('load = "10k"', 'levels = "20 mV"', ["20 mV", "list of texts"], ""),
    ('load = "10k"', 'levels = ["20 mW"]', ["20 mW"], ""),
    ('load = "10k"', 'levels = ["-20 mV"]', ["-20 mV", "above zero"], ""),
    ('load = "10k"', 'levels = ["205 mV rms"]', ["205 mV rms", "own level"], ""),
    ('load = "10k"', 'levels = ["20 mV", "0.02 V rms"]', ["0.02 V rms", "twice"], ""),
    ('load = "10k"', 'levels = ["1 mV", "2 mV", "4 mV", "8 mV"]', ["no more than 3"], ""),
    ('RV1 = "-6 dB"', 'RV1 = "+6 dB"', ["+6 dB"], ""),
    ('RV1 = "-6 dB"', 'RV2 = "-6 dB"', ["RV2"], "RV1"),
    ('RV1 = "-6 dB"', 'R3 = "-6 dB"', ["R3", "potentiometer"], ""),
    ('VP = "+15 V"', 'VP = "+15"', ["+15"], "+15 V"),
    ('VP = "+15 V"', 'VP = "0 V"', ["0 V", "ground"], ""),
    ('VP = "+15 V"', 'IN = "+15 V"', ["IN"], ""),
    ('VP = "+15 V"', '"V P" = "+15 V"', ["V P"], ""),
    ('VP = "+15 V"', 'F1 = "+15 V"', ["*", "F1", "twice"], ""),
    ('resistance = "0R5"', 'resistanc = "0R5"', ["resistanc"], "resistance"),
    ('fuse = "F1 500mA"', 'fuse = "F1 500mV"', ["F1", "current"], "3.15A"),
    ('tolerance = "5%"', 'tolerance = "five"', ["five"], "5%"),
    ('resistor = "1%"', 'resistr = "1%"', ["resistr"], "resistor"),
    ('resistor = "1%"', 'resistor = "1"', ["“1”"], "Did you mean 1%"),
    ('part = "C301 2200u 25V"', 'part = "C1 2200u 25V"', ["*", "C1", "twice"], ""),
    ('volts = "15 V"\nb', 'volts = "15 Vpp"\nb', ["15 Vpp"], ""),
    ('bleeder = "R301 4k7"', 'bleeder = "R301 4u7"', ["4u7"], ""),
    ("add = 100", 'add = "100"', ["100", "whole number"], ""),
    ("add = 100", "add = 2", ["R3"], ""),
    ("add = 100", "add = -2", ["R1"], ""),
    ("add = 100", "addd = 100", ["addd"], "add"),
    ('name = "Down line"', 'name = "Up line"', ["Up line"], ""),
    ('name = "Down line"', "name = 2", ["2", "text"], ""),
    ('J1 = "J2"', 'J11 = "J2"', ["J11"], "J1"),
    ('J1 = "J2"', 'C2 = "R101"', ["R101"], ""),
    ('J1 = "J2"', 'C2 = "R1;"', ["R1;"], ""),
    ('name = "Gain stage"', 'name = "Gain/stage"', ["Gain/stage", "/"], ""),
    ('name = "Gain stage"', 'name = "Input-coupling"', ["Input-coupling"], ""),
    ('name = "Gain stage"', 'name = "supply"', ["supply"], ""),
    ('gain = "-6 dB"', 'gain = "-6 db/oct"', ["-6 db/oct"], ""),
    ('gain = "-6 dB"', "gain = 0", ["0"], ""),
    ("mains = true", 'mains = "yes"', ["yes", "true or false"], ""),
    ("mains = true", "manis = true", ["manis"], "mains"),
    ("mains = true", 'input = "in"', ["input", "netlist"], ""),
    ("mains = true", 'cautions = "hot"', ["hot", "list"], ""),
    ("[tolerances]", "[tolerance]", ["tolerance"], "tolerances"),
]


@pytest.mark.parametrize(("old", "new", "words", "guess"), CHAIN)
def test_a_mistake_in_a_chain(tmp_path: Path, old: str, new: str, words: list[str], guess: str) -> None:
    problems, line = broken(tmp_path, "chain", old, new)
    assert named(problems, line, words, guess), "\n".join(map(str, problems))


MIXED = [
    ('netlist = "receiver.cir"', 'netlist = "reciever.cir"', ["reciever.cir"], "receiver.cir"),
    ('netlist = "receiver.cir"', 'netlist = "../mixed/receiver.cir"', [".."], ""),
    ('netlist = "receiver.cir"', 'netlist = "/etc/passwd"', ["/etc/passwd", "relative"], ""),
    ('netlist = "receiver.cir"', 'netlist = "~/receiver.cir"', ["relative"], ""),
    ('netlist = "receiver.cir"', "netlist = 'C:\\receiver.cir'", ["relative"], ""),
    ('netlist = "receiver.cir"', 'netlist = "."', ["no plain file"], ""),
    ('netlist = "receiver.cir"', 'netlist = ""', ["no file name"], ""),
    ('netlist = "receiver.cir"', 'netlist = "receiver.cir"\nuse = "buffer"', ["library"], ""),
    ('subckt = "receiver"', 'subckt = "reciever"', ["reciever"], "receiver"),
    ('"out", "VP"', '"out", "VPP"', ["VPP"], "VP"),
    ('"in", "0", "out"', '"in", "out"', ["4", "5"], ""),
    ('"in", "0", "out"', '"in", "in", "out"', ["once"], ""),
    ("parts = { R1", "parts = { R8", ["R8"], "R1"),
    ('R1 = "1%"', 'R1 = "1% 5k"', ["value", "receiver.cir"], ""),
    ('C1 = "C11 film"', 'C1 = "R3"', ["R3", "twice"], ""),
    ('C1 = "C11 film"', 'C1 = "C11 flm"', ["flm"], "film"),
    ('kind = "opamp"', 'kind = "opam"', ["opam"], "opamp"),
    ('"vn", "out"] }', '"out"] }', ["5 nodes", "4 pins"], ""),
    ('"vn", "out"] }', '"vn", "vn"] }', ["twice"], ""),
    ('as = "U1A"', 'as = "U 1A"', ["U 1A"], ""),
    ('node = "Buffer/out"', 'node = "Bufer/out"', ["Bufer"], "Buffer"),
    ('node = "Buffer/out"', 'node = "Buffer/ot"', ["ot"], "out"),
    ('node = "Buffer/out"', 'node = "Buffer"', ["STAGE/NODE"], ""),
    ('start = "J4, tip"', 'start = "U1 pin 7"', ["U1 pin 7"], ""),
    ('VN = "-15 V"', 'VN = "+12 V"', ["*", "buffer", "negative"], "-15 V"),
]


@pytest.mark.parametrize(("old", "new", "words", "guess"), MIXED)
def test_a_mistake_in_a_chain_with_a_netlist(tmp_path: Path, old: str, new: str, words: list[str], guess: str) -> None:
    problems, line = broken(tmp_path, "mixed", old, new)
    assert named(problems, line, words, guess), "\n".join(map(str, problems))


WHOLE = [
    ('parts = ["R1", "C1"]', 'parts = ["R1", "C9"]', ["C9"], ""),
    ('parts = ["R1", "C1"]', 'parts = ["R1", "C1", "R2"]', ["*", "R2", "First section"], ""),
    ('output = "a"', 'outputs = "a"', ["outputs"], "output"),
    ('R1 = "3%"', 'R9 = "3%"', ["R9"], ""),
    ('X1 = "U1 opamp-bipolar"', 'X1 = "U1 opamp-bipolr"', ["opamp-bipolr"], "opamp-bipolar"),
    ('node = "a"', 'node = "a b"', ["a b"], ""),
    ('netlist = "filter.cir"', 'netlist = "filtr.cir"', ["filtr.cir"], "filter.cir"),
]


@pytest.mark.parametrize(("old", "new", "words", "guess"), WHOLE)
def test_a_mistake_in_a_unit_that_is_one_netlist(
    tmp_path: Path, old: str, new: str, words: list[str], guess: str
) -> None:
    problems, line = broken(tmp_path, "filter", old, new)
    assert named(problems, line, words, guess), "\n".join(map(str, problems))


NETLIST = [
    ("R1 in a 10k", "R1 in a 10k0", "10k0"),
    ("R1 in a 10k", "R1 in a 2k2", "2.2k"),
    ("R1 in a 10k", "R1 in a 1M", "eg"),
    ("R1 in a 10k", "R1 in", "R1 needs 3 words"),
    ("R1 in a 10k", "R1 in a", "value missing"),
    ("R1 in a 10k", "R1 in a ten", "“ten”"),
    ("C2 b 0 10n", "C1 b 0 10n", "C1 is there twice"),
    ("C2 b 0 10n", "Q1 a b 0 bc", "missing"),
    ("C2 b 0 10n", "C-2 b 0 10n", "C-2"),
]


@pytest.mark.parametrize(("old", "new", "words"), NETLIST)
def test_a_mistake_in_a_netlist_names_its_line(tmp_path: Path, old: str, new: str, words: str) -> None:
    problems, line = broken(tmp_path, "filter", old, new, "filter.cir")
    assert any(
        problem.where.file == tmp_path / "filter" / "filter.cir"
        and problem.where.line == line
        and words in str(problem)
        for problem in problems
    ), "\n".join(map(str, problems))


def test_every_mistake_is_reported_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    file = tmp_path / "unit.toml"
    text = (UNITS / "chain" / "unit.toml").read_text(encoding="utf-8")
    for old, new in (("+15 V", "+15 A"), ("R3 22k", "R3 22x"), ("U1A opamp-jfet", "U1A jfet"), ("-6 db", "-6")):
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UserError) as raised:
        open_unit(tmp_path)
    lines = [problem.where.line for problem in raised.value.problems]
    assert lines == sorted(lines, key=lambda line: line or 0)
    for word in ("+15 A", "22x", "jfet"):
        assert word in str(raised.value)


def test_a_required_role_left_out_is_named_with_what_it_does(tmp_path: Path) -> None:
    problems, _ = broken(tmp_path, "chain", 'RG = "R2 2k2 5%"\n', "")
    assert any("RG" in problem.message and problem.where.line == 43 for problem in problems), problems


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"[unit]\ntitle = 'caf\xe9'\n", "line 2 has the byte 0xe9"),
        (b"[unit\n", "not TOML"),
        (b"[unit]\ntitle = 22k\n", "line 2"),
        (b"[unit]\ntitle = 'a'\ntitle = 'b'\n", "written twice"),
        (b"a = " + b"[" * 5000 + b"\n", "too deeply"),
        (b"a = " + b"9" * 5000 + b"\n", "more than 400 digits"),
        (b"a = '" + b"x" * 20_000 + b"'\n", "longer than"),
        (b"# " + b"x\n# " * 700_000, "MB"),
        (b"[unit]\ntitle = 'A'\n", "no [[stage]]"),
        (b"[unit]\ntitle = 'A'\n[stage]\nname = 'B'\n", "double brackets"),
        (
            b"unit = 3\nstage = 4\nrails = 5\nsetup = 6\npoint = 7\nchannel = 8\ntolerances = 9\nreservoir = 1\n",
            "table",
        ),
        (b"stage = [1, 2]\npoint = ['a']\nchannel = [[]]\n", "table"),
    ],
)
def test_a_file_that_is_no_unit_file(tmp_path: Path, raw: bytes, words: str) -> None:
    (tmp_path / "unit.toml").write_bytes(raw)
    with pytest.raises(UserError) as raised:
        open_unit(tmp_path)
    assert words in str(raised.value)
    assert all(problem.where.file == tmp_path / "unit.toml" for problem in raised.value.problems)


def test_a_netlist_behind_a_link_is_not_read(tmp_path: Path) -> None:
    shutil.copytree(UNITS / "mixed", tmp_path / "mixed")
    (tmp_path / "mixed" / "receiver.cir").rename(tmp_path / "receiver.cir")
    (tmp_path / "mixed" / "receiver.cir").symlink_to(tmp_path / "receiver.cir")
    with pytest.raises(UserError, match="through a link"):
        open_unit(tmp_path / "mixed")


def test_a_unit_that_is_nowhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "hut").mkdir()
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match="no unit “huut”"):
        open_unit("huut")
    with pytest.raises(UserError, match=r"no unit\.toml"):
        open_unit("hut")
    for text in ("", "\0", "x" * 5000):
        with pytest.raises(UserError):
            open_unit(text)
