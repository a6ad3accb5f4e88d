"""What the tests have workers do. In a module of its own, since a worker finds a task by its module's name."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from lostgain.engine import Session
from lostgain.problems import Problem, UserError, Where

DIVIDER = ["v1 in 0 dc 1 ac 1", "r1 in c 1k"]


def divide(session: Session, ohms: float) -> float:
    """The voltage over `ohms` below 1 kilohm at 1 V."""
    session.load([*DIVIDER, f"r2 c 0 {ohms!r}"])
    return float(session.op(["c"])[0])


def same(_session: Session, item: Any) -> Any:
    """Nothing but the talk."""
    return item


def killed_at(_session: Session, item: tuple[int, int]) -> int:
    """Die at one item, every time."""
    number, fatal = item
    if number == fatal:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def killed_among(_session: Session, item: tuple[int, list[int]]) -> int:
    """Die in any of the processes named."""
    number, doomed = item
    if os.getpid() in doomed:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def hangs_at(_session: Session, item: tuple[int, int]) -> int:
    """Hang at one item."""
    number, fatal = item
    if number == fatal:
        time.sleep(600)
    return number


def computes_for_ever(_session: Session, _item: Any) -> None:
    """Hang at work, as a simulation does that never ends."""
    while True:
        pass


def fails(session: Session, item: int) -> int:
    """A circuit without solution at odd items."""
    if item % 2:
        session.load(["v1 in 0 1", "v2 in 0 2"])
        session.op(["in"])
    return item


def finishes_ngspice(session: Session, item: int) -> tuple[int, int]:
    """Bring ngspice to the state in which it cannot recover, at one item."""
    if item == 2:
        session.load(["v1 in 0 {nowhere_defined}"])
    return item, os.getpid()


def mistaken(_session: Session, _item: Any) -> None:
    """A mistake in a task."""
    raise ZeroDivisionError("a mistake of the task's")


def users_mistake(_session: Session, _item: Any) -> None:
    """A mistake of the user's, found in a worker."""
    raise UserError(Problem("R99 is no part of this unit.", Where(Path("unit.toml"), 7)))


def unpicklable(_session: Session, _item: Any) -> Any:
    """A result that cannot be sent."""
    return lambda: None


def prints(session: Session, item: int) -> int:
    """Print where the talk of the pool goes in a careless worker."""
    print("noise")
    os.write(1, b"noise on 1")
    session.load([*DIVIDER, "r2 c 0 1k"])
    session._spice.command("echo noise from ngspice")
    return item


def pid(_session: Session, _item: Any) -> int:
    """Which process this is."""
    time.sleep(0.05)
    return os.getpid()


def try_to_escape(_session: Session, target: str) -> dict[str, bool]:
    """Which of several things that a worker may not do, succeed."""
    done = {}

    def attempt(name: str, action: Any) -> None:
        try:
            done[name] = bool(action())
        except (OSError, subprocess.SubprocessError):
            done[name] = False

    attempt("write outside", lambda: Path(target, "marker").write_text("x"))
    attempt("make a folder outside", lambda: Path(target, "folder").mkdir() or True)
    attempt("remove a file outside", lambda: Path(target, "precious").unlink() or True)
    attempt("shorten a file outside", lambda: os.truncate(Path(target, "precious"), 0) or True)
    attempt("start a program", lambda: subprocess.run(["/bin/true"], check=True))
    attempt("start a shell", lambda: os.system(f"touch {target}/shell") == 0)
    return done


def places(_session: Session, _item: Any) -> dict[str, str]:
    """Where a worker stands."""
    return {"folder": str(Path.cwd()), "home": os.environ["HOME"], "scratch": str(len(list(Path.cwd().iterdir())))}


def hostile(session: Session, lines: list[str]) -> str:
    """Hand text to ngspice past every check of ours, and run it."""
    session._spice.circuit(["* title", *lines, ".end", ""])
    session._spice.command("op")
    session._spice.command("destroy all")
    return "survived"


def hostile_command(session: Session, command: str) -> str:
    """Give ngspice a command that no caller gives."""
    session._spice.command(command)
    return "survived"


def memory_over_loads(session: Session, loads: int) -> tuple[float, float]:
    """Memory of this process [MB] after a tenth of many loads and after all of them."""
    lines = ["v0 n0 0 dc 1 ac 1 sin(0 1 1k)", ".model m npn bf=100"]
    for step in range(20):
        lines += [f"r{step} n{step} n{step + 1} 1k", f"c{step} n{step + 1} 0 1n", f"q{step} n{step + 1} n{step} 0 m"]
    early = 0.0
    for count in range(loads):
        session.load(lines)
        session.op(["n1", "n20"])
        session.ac([500.0, 40.0, 1e4], ["n20"])
        session.tran(1e-4, 1e-5, ["n20"])
        if count == loads // 10:
            early = _resident()
    return early, _resident()


def _resident() -> float:
    status = Path("/proc/self/statm")
    if status.exists():
        return int(status.read_text().split()[1]) * resource.getpagesize() / 1e6
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def response(session: Session, item: tuple[list[str], list[float], list[str]]) -> np.ndarray:
    """A small-signal response, for a test that compares ways of asking for it."""
    lines, frequencies, nodes = item
    session.load(lines)
    return session.ac(frequencies, nodes)


def interrupted(_session: Session, item: int) -> int:
    """Get the signal that Ctrl-C sends to every process of a terminal."""
    os.kill(os.getpid(), signal.SIGINT)
    return item


def add(_session: Session, common: list[int], item: int) -> tuple[int, int]:
    """Add an item to what is common; and which object that is."""
    return sum(common) + item, id(common)


def ends_when_idle(_session: Session, seconds: float) -> int:
    """Shorten the time after which this worker ends without work; and which process it is."""
    sys.modules["__main__"].IDLE = seconds  # type: ignore[attr-defined]
    return os.getpid()
