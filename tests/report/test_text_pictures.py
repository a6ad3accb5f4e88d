"""Pictures in a terminal: their width, their letters, and what they show."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from lostgain.report.text_chain import text_chain
from lostgain.report.text_letters import ASCII, BLOCKS, Letters, letters_for
from lostgain.report.text_wave import DOWN, SCALE, text_wave
from tests.report import records


@pytest.mark.parametrize("kind", records.KINDS)
@pytest.mark.parametrize("letters", [BLOCKS, ASCII])
@pytest.mark.parametrize("width", [80, 100])
def test_lines_fit_the_terminal(kind: str, letters: Letters, width: int) -> None:
    found = records.renamed(records.prediction(kind))
    for index in range(len(found.frequencies)):
        lines = text_chain(found, index, letters, width)
        for point in found.points:
            lines += text_wave(found, point, index, letters, width)
        assert max(len(line) for line in lines) <= width
        if letters.ascii:
            assert "".join(lines).isascii()


@pytest.mark.parametrize(
    ("encoding", "letters"),
    [("utf-8", BLOCKS), ("ascii", ASCII), ("latin-1", ASCII), ("cp437", ASCII), (None, ASCII), ("no such", ASCII)],
)
def test_letters_are_those_the_terminal_has(encoding: str | None, letters: Letters) -> None:
    assert letters_for(encoding) is letters


def test_a_long_name_goes_on_in_the_next_line() -> None:
    found = records.renamed(records.prediction("gone"))
    lines = text_chain(found)
    first = next(number for number, line in enumerate(lines) if line.startswith("R1014"))
    told = " ".join([lines[first][:23].strip(), *(line.strip() for line in lines[first + 1 :])])
    assert told.startswith(f"{records.LONG} *")


def test_a_signal_that_is_gone_has_no_bar_and_one_that_is_healthy_a_full_one() -> None:
    lines = text_chain(records.prediction("gone"))
    assert lines[1].count(BLOCKS.bar) > 10
    assert lines[3].count(BLOCKS.bar) == 0
    assert lines[3].endswith("nothing")
    assert BLOCKS.mark in lines[3]


def test_what_did_not_converge_is_said() -> None:
    found = records.prediction("no result")
    assert "no result" in text_chain(found)[1]
    assert any("did not converge" in line for line in text_wave(found, "TP4"))


@pytest.mark.parametrize("letters", [BLOCKS, ASCII])
def test_a_wave_goes_as_high_as_low_and_crosses_zero_twice_a_cycle(letters: Letters) -> None:
    lines = text_wave(records.prediction("gone"), "TP4", letters=letters)
    picture = np.array([list(f"{line:80}"[SCALE : SCALE + 33]) for line in lines[2 : 2 + DOWN]])
    assert (picture != " ").any(axis=0).all()
    assert (picture[0] != " ").any()
    assert (picture[-1] != " ").any()
    middle = "".join("x" if cell != " " else " " for cell in picture[DOWN // 2])
    assert len(middle.split()) in (4, 5)


def test_both_waves_have_one_scale() -> None:
    lines = text_wave(records.prediction("clipped"), "TP4")
    right = [line[SCALE + 36 :].strip() for line in lines[2 : 2 + DOWN]]
    assert right[0] == ""
    assert any(right)
    assert lines[2].lstrip().startswith("+778 mV")


def test_the_name_over_a_wave_is_whole() -> None:
    lines = text_wave(records.renamed(records.prediction("gone")), records.LONG)
    assert " ".join(lines[:3]).startswith(f"{records.LONG} at 500 Hz")


def test_text_needs_no_drawing_library() -> None:
    code = "import sys, lostgain.report.text_chain, lostgain.report.text_wave; sys.exit('matplotlib' in sys.modules)"
    source = records.REPOSITORY / "sim"
    done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(source)}, check=False)
    assert done.returncode == 0
