"""What the tests have workers do."""

from __future__ import annotations

import numpy as np

from benchmarks.speed_plain import followed
from lostgain.circuit import FlatCircuit
from lostgain.engine import RunFailed, Session
from lostgain.signatures.cycle import one_cycle, rms
from lostgain.signatures.follow import SOLVER, STEPS_A_CYCLE
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from lostgain.signatures.states import Steady
from lostgain.signatures.steady import steady


def settle(session: Session, item: tuple[FlatCircuit, float, float, list[str]]) -> Steady:
    """Follow a circuit: flat, drive [V rms], frequency [Hz], nodes."""
    flat, drive, frequency, nodes = item
    return steady(session, flat, drive, frequency, 0.0, nodes)


def wait(session: Session, item: tuple[FlatCircuit, float, int, list[str]]) -> np.ndarray:
    """Follow a circuit from rest for so many periods; the last one's levels: flat, period [s], periods, nodes."""
    flat, period, count, nodes = item
    *lines, end = flat.lines()
    session.load([*lines, SOLVER, end])
    time, values = session.tran(count * period, period / STEPS_A_CYCLE, nodes, (count - 2) * period)
    return rms(one_cycle(time, values, (count - 1.5) * period, period))


class Reluctant(Session):
    """A session in which analyses of one kind give up, as ngspice does on a hard circuit."""

    def __init__(self, gives_up: str) -> None:
        super().__init__()
        self.gives_up = gives_up

    def op(self, nodes: list[str]) -> np.ndarray:  # type: ignore[override]
        if self.gives_up == "op":
            raise RunFailed("no convergence (Error: singular matrix: check node mid)", ("singular matrix",))
        return super().op(nodes)

    def tran(self, stop: float, *given, **named):  # type: ignore[no-untyped-def, override]
        if self.gives_up == "tran" or (self.gives_up == "tran 40" and stop > 0.03):
            raise RunFailed("timestep too small (Timestep too small; trouble with node mid)", ())
        return super().tran(stop, *given, **named)


def reluctant_row(_session: Session, item: tuple[RowTask, str]) -> RowResult:
    """Run a row in a session that gives up."""
    task, gives_up = item
    return run_row(Reluctant(gives_up), task)


class Counting(Session):
    """A session that notes which analyses it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.analyses: list[str] = []

    def ac(self, *given, **named):  # type: ignore[no-untyped-def]
        self.analyses.append("ac")
        return super().ac(*given, **named)

    def tran(self, *given, **named):  # type: ignore[no-untyped-def]
        self.analyses.append("tran")
        return super().tran(*given, **named)


def analyses(_session: Session, task: RowTask) -> list[str]:
    """Run a row and return the analyses it took, in their order."""
    session = Counting()
    run_row(session, task)
    return session.analyses


def plain_levels(session: Session, item: tuple[RowTask, list[FlatCircuit]]) -> np.ndarray:
    """Levels of circuits by plain transients from the operating point, followed for many cycles."""
    task, flats = item
    setup, nodes = task.circuit.unit.setup, list(task.circuit.points.values())
    found = [followed(session, flat, setup.generator, setup.start_dc, setup.frequencies, nodes) for flat in flats]
    assert all(np.isfinite(each.level).all() for each in found)
    return np.array([each.level for each in found])
