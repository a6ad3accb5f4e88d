"""``lostgain bench``: conversations typed into it, and one in a terminal that is stopped and goes on."""

from __future__ import annotations

import io
import os
import re
import select
import signal
import sys
import time
from pathlib import Path

import pytest

from lostgain import open_unit, read_readings
from tests.cli.run import CHAIN, UNITS, run


@pytest.fixture
def talk(capsys, monkeypatch, tmp_path: Path):
    """Type lines into a session and return exit code, what was said, and the readings file."""
    file = tmp_path / "readings.csv"

    def typed(*lines: str) -> tuple[int, str, Path]:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        code, out, err = run(capsys, "bench", CHAIN, file)
        assert "Traceback" not in err
        return code, out, file

    return typed


def kept(file: Path) -> list[tuple[str, str, str, str]]:
    if not file.exists():  # none is made before the first reading
        return []
    found = read_readings(file, open_unit(CHAIN), may_be_empty=True)
    return [(row.point, row.quantity, row.channel, row.text) for row in found.rows]


def test_asks_for_a_reading_and_writes_it_down(talk) -> None:
    code, out, file = talk("2,5")
    assert code == 0
    assert "Next: " in out
    assert " %" in out
    (row,) = kept(file)
    assert row[3] == "2,5 Vpp"


def test_nothing_entered_leaves_no_file(talk) -> None:
    code, out, file = talk()
    assert code == 0
    assert "Next: " in out
    assert not file.exists()
    talk("help", "list")
    assert not file.exists()


def test_without_input_it_says_so(capsys, monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    code, out, err = run(capsys, "bench", CHAIN, tmp_path / "a.csv")
    assert (code, out) == (2, "")
    assert "no input" in err
    assert not (tmp_path / "a.csv").exists()


def test_what_is_kept_has_the_names_of_its_own_channel(talk) -> None:
    _, _, file = talk("U101 pin 1 = 1 V rms", "U1 pin 1, Up line = 1 V rms")
    assert [line.split(",")[0] for line in file.read_text(encoding="utf-8").splitlines()[1:]] == [
        "U101 pin 1",
        "U1 pin 1",
    ]
    code, out, _ = talk("list")
    assert code == 0
    assert "calls it" not in out


def test_another_point_than_the_one_asked_for(talk) -> None:
    _, _, file = talk("U1 pin 1, 40 Hz, Up line", "200 mV rms", "U1 pin 1, dc, Up line = 0 V")
    assert kept(file) == [
        ("U1 pin 1", "level", "Up line", "200 mV rms"),
        ("U1 pin 1", "dc", "Up line", "0 V"),
    ]


def test_the_other_channels_name_for_a_point_is_enough(talk) -> None:
    _, _, file = talk("U101 pin 1 = 1 V rms")
    assert kept(file) == [("U1 pin 1", "level", "Down line", "1 V rms")]


def test_the_first_channel_s_own_name_is_its_own(talk) -> None:
    """U101 and U1 are two chips: who types U1 after U101 has gone to the other board."""
    _, _, file = talk("U101 pin 1 = 1 V rms", "U1 pin 1 = 2 V rms")
    assert kept(file) == [("U1 pin 1", "level", "Down line", "1 V rms"), ("U1 pin 1", "level", "Up line", "2 V rms")]


def test_undo_is_back_and_a_question_mark_is_help(talk) -> None:
    _, out, file = talk("U101 pin 1 = 1 V rms", "undo", "?")
    assert kept(file) == []
    assert "take the last reading back" in out


def test_takes_back_and_corrects(talk) -> None:
    _, out, file = talk("U1 pin 1, Up line = 1 V rms", "TP4, Up line = 1 V rms", "back", "correct 1 = 2 V rms", "list")
    assert "Taken back: TP4 (Up line), level at 500 Hz, 1 V rms." in " ".join(out.split())
    assert kept(file) == [("U1 pin 1", "level", "Up line", "2 V rms")]


def test_taking_all_back_leaves_a_file_that_opens_again(talk) -> None:
    _, _, file = talk("U1 pin 1, Up line = 1 V rms", "back")
    assert kept(file) == []
    code, out, _ = talk("list")
    assert code == 0
    assert "No reading so far." in out


def test_what_cannot_be_reached_is_kept_and_taken_back(talk) -> None:
    _, out, file = talk("U1 pin 1, Up line", "can't reach", "list")
    assert "U1 pin 1 (Up line) can't be reached." in " ".join(out.split())
    assert read_readings(file, open_unit(CHAIN), may_be_empty=True).unreachable == (("U1 pin 1", "Up line"),)
    _, _, file = talk("reach U1 pin 1")
    assert read_readings(file, open_unit(CHAIN), may_be_empty=True).unreachable == ()


def test_an_empty_line_asks_for_another_reading(talk) -> None:
    _, out, _ = talk("", "")
    lines = [line for line in out.splitlines() if line.startswith("  Next: ")]
    assert len(set(lines)) == len(lines) == 3


def test_goes_on_from_the_file(talk) -> None:
    talk("U1 pin 1, Up line = 1 V rms")
    _, out, file = talk("TP4, Up line = 1 V rms")
    assert "holds 1 so far" in " ".join(out.split())
    assert [row[0] for row in kept(file)] == ["U1 pin 1", "TP4"]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("U1 pin 77", "Did you mean U1 pin 3 or U1 pin 1?"),
        ("bakc", "Did you mean back?"),
        ("340 mV", "340 mV rms or 340 mVpp"),
        ("back 7", "there are none so far"),
        ("correct 1", "correct 3 = 1.2 Vpp"),
        ("U1 pin 1, Zone Q", "'Zone Q' is no quantity, frequency, generator level, channel or instrument"),
        ("good Middle line", "there is no channel 'Middle line'"),
        ("U1 pin 1 = 1 V rms", "of which channel? Type U1 pin 1, Up line or U1 pin 1, Down line."),
        ("U1 pin 1, Up line = distorted", "Say how"),
        ("U1 pin 1, Up line, 1.87 V rms", "none of the generator's levels"),
    ],
)
def test_a_slip_is_said_and_changes_nothing(talk, line: str, said: str) -> None:
    code, out, file = talk(line)
    assert code == 0
    assert said in " ".join(out.split())
    assert kept(file) == []


def test_the_good_channel_and_a_reading_the_same_as_it(talk) -> None:
    _, _, file = talk("good Down line", "U101 pin 1 = 2.2 V rms", "U1 pin 1, Up line = same as good")
    assert kept(file)[1][3] == "same as good"
    assert read_readings(file, open_unit(CHAIN)).good == "Down line"


def test_help_and_everything(talk) -> None:
    _, out, _ = talk("help", "U1 pin 1, Up line = 200 mV rms", "more")
    assert "take the last reading back" in out
    assert "What to do next" in out
    assert "Suspects, with their probability" in out


def test_a_file_with_a_mistake_is_left_as_it_is(capsys, tmp_path: Path) -> None:
    file = tmp_path / "wrong.csv"
    file.write_text("test point,value\nU1 pin 77,1 Vpp\n", encoding="utf-8")
    code, _, err = run(capsys, "bench", CHAIN, file)
    assert code == 2
    assert "line 2" in err
    assert file.read_text(encoding="utf-8").endswith("U1 pin 77,1 Vpp\n")


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_in_a_terminal_stopped_by_ctrl_c_nothing_is_lost(tmp_path: Path) -> None:
    import pty

    file = tmp_path / "readings.csv"
    child, terminal = pty.fork()
    if child == 0:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # a background job ignores it, and its children do
        os.execv(sys.executable, [sys.executable, "-m", "lostgain", "bench", CHAIN, str(file)])
    said = b""

    def until(text: bytes, seconds: float = 60.0) -> None:
        nonlocal said
        end, begin = time.monotonic() + seconds, len(said)
        while text not in said[begin:] and time.monotonic() < end:
            if select.select([terminal], [], [], 0.2)[0]:
                try:
                    said += os.read(terminal, 4096)
                except OSError:  # the other end is closed
                    return

    until(b"]: ")
    os.write(terminal, b"U1 pin 1, Up line = 200 mV rms\n")
    until(b"]: ")
    os.write(terminal, b"12")  # half a value, never finished
    time.sleep(0.3)
    os.write(terminal, b"\x03")
    until(b"goes on from there", 20)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 130
    assert b"Traceback" not in said
    assert kept(file) == [("U1 pin 1", "level", "Up line", "200 mV rms")]


def test_a_unit_that_stays_off_is_asked_about_with_the_power_off(capsys, monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n"))
    _, out, _ = run(capsys, "bench", str(UNITS / "megaphone"), tmp_path / "readings.csv", "--stay-off")
    asked = [line for line in out.splitlines() if "Next: " in line]
    assert asked
    assert all(re.search(r"\b(resistance|diode test|esr)\b", line) for line in asked)
