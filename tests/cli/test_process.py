"""The command as a process: entry points, pipes that close, Ctrl-C, and how quick it is to start."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress
from pathlib import Path

import pytest

from tests.cli.run import CHAIN

REPOSITORY = Path(__file__).resolve().parents[2]


def command(*words: str, **more: str) -> tuple[list[str], dict[str, str]]:
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY / "sim"), **more}
    return [sys.executable, "-m", "lostgain", *words], environment


def test_python_m_lostgain_units(tmp_path: Path) -> None:
    words, environment = command("units")
    done = subprocess.run(words, env=environment, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60)
    assert "ferry-terminal" in done.stdout
    assert done.stderr == ""


def test_units_starts_without_what_only_simulations_need() -> None:
    script = (
        "import sys; from lostgain.cli.main import main; main(['units'])\n"
        "print(sorted({'numpy', 'scipy', 'xarray', 'matplotlib', 'PySpice'} & set(sys.modules)))"
    )
    _, environment = command()
    done = subprocess.run(
        [sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_bad_input_in_a_process(tmp_path: Path) -> None:
    words, environment = command("check", "nowhere")
    done = subprocess.run(words, env=environment, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_a_terminal_without_ohms(tmp_path: Path) -> None:
    words, environment = command("check", CHAIN, PYTHONIOENCODING="ascii")
    done = subprocess.run(words, env=environment, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60)
    assert "R3 22 kohm" in done.stdout


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently there")
def test_the_reader_of_the_pipe_leaves() -> None:
    words, environment = command("units")
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(words, env=environment, stdout=writing, stderr=subprocess.PIPE, text=True, timeout=60)
    finally:
        os.close(writing)
    assert done.returncode == 141
    assert done.stderr == ""


@pytest.mark.skipif(os.name == "nt", reason="a stream is closed differently there")
def test_a_closed_output_is_no_mistake(tmp_path: Path) -> None:
    words, environment = command("units")
    closed = ["sh", "-c", 'exec "$@" >&-', "sh", *words]
    done = subprocess.run(
        closed, env=environment, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_ctrl_c_while_the_commands_are_loaded(tmp_path: Path) -> None:
    """Numpy and the rest take a second, and a person may not wait so long."""
    script = (
        "import sys, lostgain.cli.main as cli\n"
        "class Stop:\n"
        "    def find_spec(self, name, *rest):\n"
        "        if name.startswith('lostgain.cli.'): raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stop())\n"
        "sys.exit(cli.main(['units']))"
    )
    _, environment = command()
    done = subprocess.run([sys.executable, "-c", script], env=environment, cwd=tmp_path, capture_output=True, text=True,
                          check=False, timeout=60)  # fmt: skip
    assert (done.returncode, done.stderr) == (130, "Stopped.\n")


def rows_kept(cache: Path) -> int:
    """How many finished rows a cache holds; it may be written at the same time."""
    if not (cache / "rows.db").exists():
        return 0
    with closing(sqlite3.connect(cache / "rows.db", timeout=30)) as base, suppress(sqlite3.OperationalError):
        return int(base.execute("select count(*) from rows").fetchone()[0])
    return 0


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent differently there")
def test_ctrl_c_during_a_table_keeps_what_is_done(tmp_path: Path) -> None:
    words, environment = command("table", CHAIN, "--workers", "1", LOSTGAIN_CACHE=str(tmp_path))
    # a group of its own: Ctrl-C reaches the workers as well, as it does in a terminal
    process = subprocess.Popen(
        words, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    try:
        until = time.monotonic() + 60
        while rows_kept(tmp_path) < 3 and time.monotonic() < until:
            time.sleep(0.05)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert process.returncode == 130
    assert out == ""
    assert "the same command goes on from there" in err
    assert "Traceback" not in err
    assert rows_kept(tmp_path) >= 3
    assert not list(tmp_path.glob("*.nc"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
def test_a_full_disk_is_said_without_a_traceback(tmp_path: Path) -> None:
    words, environment = command("units")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            words,
            env=environment,
            cwd=tmp_path,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2
    assert "The disk is full" in done.stderr
    assert "Traceback" not in done.stderr
