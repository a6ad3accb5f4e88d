"""Small things that `session` does with vectors, frequencies and what ngspice printed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lostgain.engine.binding import ffi


def copied(record: Any) -> NDArray[Any]:
    """Copy a vector's numbers before ngspice frees them."""
    count = int(record.v_length)
    if record.v_compdata == ffi.NULL:
        return np.frombuffer(ffi.buffer(record.v_realdata, count * 8), dtype=float).copy()
    return np.frombuffer(ffi.buffer(record.v_compdata, count * 16), dtype=complex).copy()


def even_runs(frequencies: NDArray[np.float64]) -> list[list[int]]:
    """Split frequencies into as few evenly spaced runs as come easily, since ngspice takes no list.

    Any two are evenly spaced, so there are at most half as many runs as frequencies.
    """
    order = [int(index) for index in np.argsort(frequencies, kind="stable")]
    runs: list[list[int]] = []
    while order:
        run, order = order[:2], order[2:]
        if len(run) == 2:
            step = frequencies[run[1]] - frequencies[run[0]]
            if step == 0:
                run, order = run[:1], [run[1], *order]
            while step and order and math.isclose(frequencies[order[0]] - frequencies[run[-1]], step, rel_tol=1e-12):
                run.append(order.pop(0))
        runs.append(run)
    return runs


def why(printed: Sequence[str], fallback: str) -> str:
    """Return the line of ngspice's that says most about a failure, behind a plain sentence."""
    for word in ("undefined", "unknown", "can't find", "could not", "timestep too small", "singular", "error"):
        for line in printed:
            if word in line.lower() and "gmin" not in line.lower():
                return f"{fallback} ({' '.join(line.split())})"
    return fallback
