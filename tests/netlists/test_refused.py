"""What an import does not take: said with file and line, and nothing is run that a unit may not run."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lostgain.engine import Pool
from lostgain.netlists import Imported, import_netlist
from lostgain.problems import Problem, UserError

AMPLIFIER = """* Inverting amplifier, invented
V1 VCC 0 15
V2 VEE 0 -15
V3 in 0 AC 1 SIN(0 0.1 1k)
R1 in sum 10k
R2 sum out 47k
XU1 0 sum VCC VEE out amp
.subckt amp inp inn vp vn out
e1 1 0 inp inn 1e5
r1 1 2 1k
c1 2 0 10n
e2 3 0 2 0 1
r2 3 out 50
r3 vp vn 10k
.ends
"""


def take(folder: Path, pool: Pool, text: str, **options: str) -> Imported:
    file = folder / "a.cir"
    file.write_text(text, encoding="utf-8")
    return import_netlist(file, pool=pool, **options)


def problem(folder: Path, pool: Pool, text: str, **options: str) -> Problem:
    with pytest.raises(UserError) as caught:
        take(folder, pool, text, **options)
    found = caught.value.problems[0]
    assert found.where.file is None or found.where.file.name == "a.cir"
    return found


def test_the_netlist_that_the_others_are_made_from(tmp_path: Path, pool: Pool) -> None:
    found = take(tmp_path, pool, AMPLIFIER)
    assert (found.input, found.output, found.rails) == ("in", "out", {"VCC": 15.0, "VEE": -15.0})
    assert found.worst < 1e-5


@pytest.mark.parametrize(
    ("added", "line", "said"),
    [
        (".control\nshell rm -rf x\n.endc", 16, "control block"),
        ("*ng_script", 16, "ng_script"),
        ("*# shell ls", 16, "command"),
        ("A1 in out model1", 16, "code-model"),
        ("R9 `ls` 0 1k", 16, "[Bb]acktick"),
        ("V9 x 0 PWL FILE=/etc/passwd", 16, "file"),
        (".exec ls", 16, "commands"),
        (".model m1 filesource(file=x)\nR9 sum 0 1k", None, ""),
        ("E9 x 0 LAPLACE {V(out)} = {1/(1+s)}", 16, "frequency response"),
        ("U1 nand(2) x y z", 16, "logic"),
        (".machine x", 16, "no line that"),
        ("Q1 out sum 0 GONE", 16, "missing"),
        ("X9 out sum gone_too", 16, "missing"),
        ("D1 out 0 DI\n.model DI D(Ron=1 Roff=1G Vfwd=0.6)", 17, "ideal diode"),
        (".subckt loose a b\nR1 a b 1", 16, "no .ends"),
        ("R9 out", 16, "needs"),
        ("R9 out 0 {nothing*2}", None, "ngspice does not take"),
        ("R1 out 0 1k", 16, "R1 is there twice; the first is in line 5"),
        (".if (m==1)\nR9 out 0 1k\n.endif", 16, "under a condition"),
        (".subckt o a b\n$CDNENCSTART\n8f3a2b\n.ends", 17, "encrypted"),
        ("V9 ac1 0 SIN(0 24 50)\nD1 ac1 out DD\n.model DD D", 16, "mains"),
    ],
)
def test_lines_that_are_not_taken(tmp_path: Path, pool: Pool, added: str, line: int | None, said: str) -> None:
    text = AMPLIFIER + added + "\n"
    if not said:
        take(tmp_path, pool, text)  # what nothing uses is left out, and is never run
        return
    found = problem(tmp_path, pool, text)
    assert found.where.line == line
    assert re.search(said, found.message)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("AC 1 SIN(0 0.1 1k)", "0", "No voltage source"),
        (" 0 ", " far ", "no ground"),
        ("V3 in 0", "V3 in sum", "neither is ground"),
        ("out", "elsewhere", ""),
    ],
)
def test_ends_that_cannot_be_told(tmp_path: Path, pool: Pool, old: str, new: str, said: str) -> None:
    text = AMPLIFIER.replace(old, new)
    if said:
        assert said in problem(tmp_path, pool, text).message
    else:  # the only op-amp's output, called what it may
        assert take(tmp_path, pool, text).output == "elsewhere"


def test_two_sources(tmp_path: Path, pool: Pool) -> None:
    text = AMPLIFIER + "V9 right 0 AC 1\nR9 right sum 10k\n"
    assert any(guess.about == "V9" and guess.sure == "doubtful" for guess in take(tmp_path, pool, text).guesses)
    found = problem(tmp_path, pool, text.replace("V3 in", "V3 left").replace("R1 in", "R1 left"))
    assert "2 sources" in found.message
    assert "--input" in found.meant


def test_nodes_asked_for(tmp_path: Path, pool: Pool) -> None:
    text = AMPLIFIER.replace("V3 in 0 AC 1 SIN(0 0.1 1k)\n", "")
    found = take(tmp_path, pool, text, input_node="IN", output_node="sum")
    assert (found.input, found.output) == ("in", "sum")
    assert "no node" in problem(tmp_path, pool, AMPLIFIER, output_node="outt").message


def test_a_file_that_is_missing_matters_only_where_something_of_it_is_used(tmp_path: Path, pool: Pool) -> None:
    found = take(tmp_path, pool, AMPLIFIER + ".lib C:\\models\\standard.bjt\n")
    assert any("standard.bjt" in guess.about for guess in found.guesses)
    with pytest.raises(UserError) as caught:
        take(tmp_path, pool, AMPLIFIER + ".lib C:\\models\\standard.bjt\nQ1 out sum 0 Q2N\n")
    assert any("standard.bjt" in each.message for each in caught.value.problems)


def test_a_part_that_leads_nowhere_is_left_out(tmp_path: Path, pool: Pool) -> None:
    found = take(tmp_path, pool, AMPLIFIER + "R9 sum nc 1k\nC9 nc2 out 1u\n")
    assert {"R9", "C9"} <= {guess.about for guess in found.guesses if "left out" in guess.text}
    assert {piece.board for piece in found.parts} == {"R1", "R2", "U1"}


def test_a_current_source_with_a_signal_is_made_silent(tmp_path: Path, pool: Pool) -> None:
    """Two sources at once would give levels of neither."""
    found = take(tmp_path, pool, AMPLIFIER + "I1 0 sum 1u AC 1m\n")
    assert any(guess.about == "I1" and "only its DC was kept" in guess.text for guess in found.guesses)
    assert "I1 0 sum 1e-06\n" in found.netlist
    assert found.worst < 1e-5
    with pytest.raises(UserError, match="No voltage source"):
        take(tmp_path, pool, AMPLIFIER.replace("V3 in 0 AC 1 SIN(0 0.1 1k)", "I1 0 in AC 1m\nR9 in 0 1k"))


def test_a_pulse_says_no_level(tmp_path: Path, pool: Pool) -> None:
    found = take(tmp_path, pool, AMPLIFIER.replace("AC 1 SIN(0 0.1 1k)", "PULSE(0 0.1 0 1n 1n 1m 2m)"))
    assert "V3 does not say its level; 100 mV rms was taken." in [guess.text for guess in found.guesses]


def test_signs_of_rails_on_sheets_are_kept(tmp_path: Path, pool: Pool) -> None:
    found = take(tmp_path, pool, AMPLIFIER.replace("VCC", "/pwr/+15V").replace("VEE", "/pwr/-15V"))
    assert found.rails == {"PWR_P15V": 15.0, "PWR_N15V": -15.0}


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, "no text file"),
        (b"\xff\xfe" + bytes(range(255, -1, -1)) * 9, "no text file"),
        (bytes(range(256)) * 9, "no text file"),
        (
            b'(export (version "E")\n  (design\n    (source "amp.sch"))\n  (nets (net 1)))\n' * 30,
            "another kind of file",
        ),
        (b'<?xml version="1.0"?>\n<sheet>\n<part ref="R1"/>\n</sheet>\n', "another kind of file"),
        (b'{"R1": [\n"in",\n"out"],\n"C1": 5\n}\n', "another kind of file"),
    ],
)
def test_what_is_no_netlist_is_told_in_one_line(tmp_path: Path, pool: Pool, raw: bytes, said: str) -> None:
    file = tmp_path / "a.cir"
    file.write_bytes(raw)
    with pytest.raises(UserError) as caught:
        import_netlist(file, pool=pool)
    [problem] = caught.value.problems
    assert said in problem.message
    assert problem.where.file == file


def test_a_few_letters_that_slipped_in_are_told_with_their_lines(tmp_path: Path, pool: Pool) -> None:
    found = problem(tmp_path, pool, AMPLIFIER.replace("R2 sum", "R2\x07 sum"))
    assert found.where.line == 6
    assert "character" in found.message
    assert take(tmp_path, pool, AMPLIFIER + "\x1a").worst < 1e-5  # how old systems end a file


def test_ten_mistakes_are_enough(tmp_path: Path, pool: Pool) -> None:
    with pytest.raises(UserError) as caught:
        take(tmp_path, pool, AMPLIFIER + "".join(f"R{number} out\n" for number in range(100, 300)))
    assert len(caught.value.problems) == 11
    assert "190 more" in caught.value.problems[-1].message


def test_a_folder_and_nothing(tmp_path: Path, pool: Pool) -> None:
    for name in (tmp_path, tmp_path / "gone.cir"):
        with pytest.raises(UserError):
            import_netlist(name, pool=pool)
    for text in ("", "* only a title\n", "\0\1\2"):
        with pytest.raises(UserError):
            take(tmp_path, pool, text)
