"""Two failures at once."""

from __future__ import annotations

import numpy as np

from lostgain.diagnosis import two_at_once, unexplained_alone
from lostgain.engine import Pool
from lostgain.faults import Fault
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from tests.diagnosis.megaphone import ask, dc, level, megaphone, readings, row_of, word


def test_two_failures_that_no_single_one_explains_are_found() -> None:
    """C1 leaks away most of the bass and the gain of the second stage has gone up: no part does both."""
    table = megaphone()
    pair: tuple[Fault, ...] = tuple(table.faults[row_of(label) - 1] for label in ("C1 lost 0.001", "R6 drift 2.5"))
    with Pool(2) as pool:
        row = pool.map(run_row, [RowTask(table.circuit, pair, [], np.zeros((0, 0)), 0)])[0].value
        rows = []
        for place, name in enumerate(table.points):
            for index, frequency in enumerate(table.frequencies):
                volts = float(row.level[0, place, index])
                rows.append(
                    level(name, volts, "Port", frequency) if volts > 2e-3 else word(name, "nothing", "Port", frequency)
                )
            rows.append(dc(name, float(row.dc[0, place])))
        verdict = ask(*rows)
        assert unexplained_alone(verdict)
        tried = two_at_once(table, readings(*rows), pool)
    assert 0 < tried.tried <= tried.possible
    assert set(tried.pairs[0].parts) <= {"C1", "R6", "R5"}
    assert "C1" in tried.pairs[0].parts
    assert tried.pairs[0].probability > 0.3


def test_the_time_stated_is_kept() -> None:
    rows = [level("J1 tip", 0.0993), level("R2, left end", 1.7), level("R2, right end", 0.01), level("U1 pin 1", 3.0)]
    with Pool(1) as pool:
        tried = two_at_once(megaphone(), readings(*rows), pool, seconds=0.0)
    assert tried.tried <= 1
    assert tried.possible > 5
