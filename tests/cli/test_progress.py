"""Progress: nothing for what is quick, one line kept up to date on a terminal, a line now and then in a pipe."""

from __future__ import annotations

import io

import pytest

from lostgain.cli import progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def clock(monkeypatch) -> list[float]:
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def told(clock: list[float], stream: io.StringIO, monkeypatch, first: int = 1) -> str:
    """Return what is written while 200 items take a second each."""
    monkeypatch.setattr("sys.stderr", stream)
    line = progress.Line("Simulating faults")
    for done in range(first, 201):
        clock[0] += 1.0
        line(done, 200)
    line.end()
    return stream.getvalue()


def test_in_a_pipe_a_line_now_and_then(clock: list[float], monkeypatch) -> None:
    lines = told(clock, io.StringIO(), monkeypatch).splitlines()
    assert 10 < len(lines) < 20
    assert lines[-1].startswith("Simulating faults … ")
    assert "\r" not in "".join(lines)


def test_on_a_terminal_one_line_that_is_wiped_at_the_end(clock: list[float], monkeypatch) -> None:
    text = told(clock, Terminal(), monkeypatch)
    assert "\n" not in text
    assert "100 of 200, 2 min left" in text
    assert text.endswith(" \r")


def test_work_of_an_earlier_run_says_nothing_of_the_time_left(clock: list[float], monkeypatch) -> None:
    text = told(clock, Terminal(), monkeypatch, first=151)
    assert "180 of 200, 20 s left" in text


def test_what_is_quick_says_nothing(clock: list[float], monkeypatch) -> None:
    stream = io.StringIO()
    monkeypatch.setattr("sys.stderr", stream)
    line = progress.Line("Drawing")
    clock[0] = 1.9
    line.tick()
    assert stream.getvalue() == ""


def test_no_time_left_is_foretold_from_the_first_few(clock: list[float], monkeypatch) -> None:
    """The first rows of a table may take far longer than the rest: hours were foretold for minutes."""
    stream = io.StringIO()
    monkeypatch.setattr("sys.stderr", stream)
    line = progress.Line("Simulating faults")
    for done in range(1, 10):
        clock[0] += 20.0
        line(done, 1000)
    assert "of 1000" in stream.getvalue()
    assert "left" not in stream.getvalue()
    for done in range(10, 30):
        clock[0] += 20.0
        line(done, 1000)
    assert "left" in stream.getvalue()
