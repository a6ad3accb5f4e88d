"""What the tests have workers do."""

from __future__ import annotations

import numpy as np

from lostgain.circuit import FlatCircuit
from lostgain.engine import RunFailed, Session
from lostgain.signatures.rows import RowResult, RowTask, run_row
from lostgain.signatures.steady import Steady, steady


def settle(session: Session, item: tuple[FlatCircuit, float, float, list[str]]) -> Steady:
    """Follow a circuit: flat, drive [V rms], frequency [Hz], nodes."""
    flat, drive, frequency, nodes = item
    return steady(session, flat, drive, frequency, 0.0, nodes)


class Reluctant(Session):
    """A session in which analyses of one kind give up, as ngspice does on a hard circuit."""

    def __init__(self, gives_up: str) -> None:
        super().__init__()
        self.gives_up = gives_up

    def op(self, nodes: list[str]) -> np.ndarray:  # type: ignore[override]
        if self.gives_up == "op":
            raise RunFailed("no convergence (Error: singular matrix: check node mid)", ("singular matrix",))
        return super().op(nodes)

    def tran(self, stop: float, max_step: float, nodes: list[str], start: float = 0.0):  # type: ignore[no-untyped-def, override]
        if self.gives_up == "tran" or (self.gives_up == "tran 40" and stop > 0.05):
            raise RunFailed("timestep too small (Timestep too small; trouble with node mid)", ())
        return super().tran(stop, max_step, nodes, start)


def reluctant_row(_session: Session, item: tuple[RowTask, str]) -> RowResult:
    """Run a row in a session that gives up."""
    task, gives_up = item
    return run_row(Reluctant(gives_up), task)
