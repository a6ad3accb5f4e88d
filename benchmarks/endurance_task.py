"""What a worker does for `benchmarks.endurance`: one circuit, sound or broken; in some items what must not happen."""

from __future__ import annotations

import functools
import os
import pickle
import signal
import time
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from lostgain.circuit.model import Circuit, driven
from lostgain.engine import Session
from lostgain.faults import Fault, put_in

#: Sorts of item, and what each is there for.
SORTS = {
    "healthy": "the healthy circuit",
    "faulty": "the circuit with a part failed",
    "no solution": "a circuit that no numbers solve: two sources against each other",
    "refused": "a circuit that ngspice does not take",
    "no recovery": "a circuit after which ngspice cannot go on in this process",
    "killed": "the worker is killed in the middle",
    "hangs": "the worker computes for ever",
    "memory": "the worker asks for more memory than it may have",
}


class Item(NamedTuple):
    """One circuit to run.

    Parameters
    ----------
    number : int
    sort : str
        One of `SORTS`.
    file : str
        The pickled circuit and its faults, which a worker reads once.
    """

    number: int
    sort: str
    file: str


class Ran(NamedTuple):
    """What came of one circuit that ran: its worker, that worker's resident memory [MB], and whether it is finite."""

    pid: int
    memory: float
    finite: bool


def run(session: Session, item: Item) -> Ran:
    """Run one circuit: operating point, response at three frequencies; two cycles in time of a healthy one.

    A failed circuit in time may take seconds where two stages fight each other, and would be taken for one that hangs.
    """
    if item.sort == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if item.sort == "hangs":
        while True:
            pass
    if item.sort == "memory":
        hoard = [np.empty(1 << 27) for _ in range(64)]
        return Ran(os.getpid(), 0.0, bool(hoard))
    if item.sort == "refused":
        session.load(["v1 in 0 1", "x1 in 0 nowhere"])
        session.op(["in"])
    if item.sort == "no solution":
        session.load(["v1 in 0 1", "v2 in 0 2"])
        session.op(["in"])
    if item.sort == "no recovery":
        session.load(["v1 in 0 {nowhere_defined}"])
        session.op(["in"])
    return _analyses(session, item)


def _analyses(session: Session, item: Item) -> Ran:
    circuit, faults = _stored(item.file)
    setup = circuit.unit.setup
    flat = circuit.flat
    if item.sort == "faulty":
        flat = put_in(flat, faults[item.number % len(faults)], circuit)
    nodes = list(circuit.points.values())
    frequency = setup.frequencies[0]
    session.load(driven(flat, setup.generator, frequency, setup.start_dc).lines())
    dc = session.op(nodes)
    response = session.ac(setup.frequencies, nodes)
    found = [dc, response]
    if item.sort == "healthy":
        found.append(session.tran(2 / frequency, 1 / (64 * frequency), nodes)[1])
    finite = all(np.all(np.isfinite(each)) for each in found)
    return Ran(os.getpid(), resident(os.getpid()), bool(finite))


@functools.cache
def _stored(file: str) -> tuple[Circuit, list[Fault]]:
    stored: Any = pickle.loads(Path(file).read_bytes())
    return stored  # type: ignore[no-any-return]


def resident(pid: int) -> float:
    """Return a process's resident memory [MB]."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def wait_for(condition: Any, seconds: float = 5.0) -> bool:
    """Return whether a condition comes true in so many seconds."""
    end = time.monotonic() + seconds
    while not condition() and time.monotonic() < end:
        time.sleep(0.05)
    return bool(condition())
