"""How the time of a table grows with the length of a chain of like stages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from benchmarks.speed_ledger import TimedSession
from benchmarks.speed_part import Part, part
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool, Session
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from lostgain.unit import open_unit

STAGES = (1, 2, 4, 8, 16)
_HEAD = """[unit]
title = "Chain of {count} like stages"
invented = true
[rails]
VP = "+15 V"
VN = "-15 V"
[setup]
generator = "100 mV rms"
load = "10k"
frequencies = ["500 Hz", "40 Hz", "10 kHz"]
"""
#: A gain of 1.1 behind a divider: a chain of any length carries much the same signal.
_STAGE = """[[stage]]
name = "Coupling {n}"
use = "coupling"
CIN = "C{n}1 1u film"
RB = "R{n}1 100k"
[[stage]]
name = "Gain {n}"
use = "noninverting"
U = "U{n} opamp-jfet"
RF = "R{n}2 1k"
RG = "R{n}3 10k"
[stage.points]
out = "U{n} out"
"""


def chain(count: int, folder: Path) -> Circuit:
    """Return a chain of so many stages, written into a folder as a unit."""
    home = folder / f"chain-{count}"
    home.mkdir()
    (home / "unit.toml").write_text(_HEAD.format(count=count) + "".join(_STAGE.format(n=n + 1) for n in range(count)))
    return build(open_unit(str(home)))


def growth(rows: int, chains: tuple[int, ...] = STAGES) -> dict[str, object]:
    """Return the exponents of table time against number of parts: of one stage's faults, and of all.

    Parameters
    ----------
    rows : int
        Faults a chain that are simulated; the others are taken to need as much.
    chains : tuple of int
        Stages.
    """
    parts, each, count = [], [], []
    with TemporaryDirectory(prefix="lostgain-") as folder, Pool(workers=1, time_limit=600) as pool:
        for stages in chains:
            drawn = part(chain(stages, Path(folder)), rows, 0, seed=stages)
            outcome = pool.map(_row_seconds, [drawn])[0]
            if outcome.error is not None:
                raise RuntimeError(f"a chain of {stages} stages: {outcome.error}")
            parts.append(len(drawn.circuit.parts))
            each.append(outcome.value)
            count.append(drawn.all_faults)
    whole = [seconds * many for seconds, many in zip(each, count, strict=True)]
    return {"one_stage": exponent(parts, each), "all": exponent(parts, whole), "parts": parts, "row_seconds": each}


def exponent(parts: list[int], seconds: list[float]) -> float:
    """Return the slope of time against number of parts on logarithmic scales."""
    return float(np.polyfit(np.log(parts), np.log(seconds), 1)[0])


def _row_seconds(_session: Session, drawn: Part) -> float:
    """Mean processor time of a fault's row [s], in a worker; one stage has as many faults in every chain."""
    session = TimedSession()
    healthy = run_row(session, drawn.healthy)
    tasks: list[RowTask] = [replace(task, healthy=healthy) for task in drawn.faults]
    run_row(session, tasks[0])
    session.begin()
    for task in tasks:
        run_row(session, task)
    return sum(session.end().values()) / len(tasks)
