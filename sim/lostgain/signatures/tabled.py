"""A failure as a signature table holds it, in the form of a prediction: nothing is simulated."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.faults import Fault
from lostgain.signatures.predict import Prediction, State, sweep_frequencies
from lostgain.signatures.table import Table


def tabled(table: Table, fault: Fault) -> Prediction:
    """Return what a table's row says of a failure beside the healthy unit; its response is not known (NaN).

    Parameters
    ----------
    table : Table
    fault : Fault
        One of the table's.
    """
    row = table.faults.index(fault) + 1
    return Prediction(table.circuit, (fault,), table.points, table.frequencies, sweep_frequencies(),
                      _state(table, 0), _state(table, row))  # fmt: skip


def middle(faults: Sequence[Fault]) -> Fault:
    """Return the fault of middle severity among those of one part and mode."""
    return sorted(faults, key=lambda each: each.severity or 0.0)[len(faults) // 2]


def _state(table: Table, row: int) -> State:
    status = str(table.data["status"].values[row])
    return State(
        dc=table.values("dc")[row, 0],
        level=table.values("level")[row, 0],
        swing=table.values("swing")[row, 0],
        wave=np.asarray(table.data["wave"].values[row], dtype=float),
        settled=np.asarray(table.data["settled"].values[row], dtype=bool),
        response=np.full(len(sweep_frequencies()), np.nan),
        ripple=table.values("ripple")[row, 0] if "ripple" in table.data else np.zeros(0),
        dc_range=_range(table.values("dc")[row, 1:]),
        trouble=() if status == "ok" else (status,),
    )


def _range(draws: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the least and the most of draws at each point; nothing where some point has none."""
    there = np.isfinite(draws)
    if not there.any(axis=0).all():
        return np.zeros((2, 0))
    return np.array([np.where(there, draws, np.inf).min(axis=0), np.where(there, draws, -np.inf).max(axis=0)])
