"""How long a warm match and a warm next reading take."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from lostgain.diagnosis import match
from lostgain.diagnosis.next_reading import next_reading
from lostgain.readings import Readings
from lostgain.signatures import Table

#: Timed with this many readings and faults; fewer where there are fewer.
READINGS, FAULTS = 12, 150
#: Sheets timed; the first warms up and is not counted.
SHEETS = 11


def match_ms(table: Table, sheets: list[Readings]) -> list[float]:
    """Return the time of warm matches [ms]."""
    small = smaller(table)
    return _timed(lambda readings: match(small, readings), [thinned(sheet, READINGS) for sheet in sheets[:SHEETS]])


def next_ms(table: Table, sheets: list[Readings]) -> list[float]:
    """Return the time of warm next readings [ms]: with half of the sheet at most, so that something is left to take."""
    small = smaller(table)
    taken = [thinned(sheet, min(READINGS, len(sheet.rows) // 2)) for sheet in sheets[:SHEETS]]
    return _timed(lambda readings: next_reading(small, readings), taken)


def smaller(table: Table) -> Table:
    """Return a table of the first `FAULTS` faults, all their severities included."""
    kept = list(dict.fromkeys((fault.part, fault.mode) for fault in table.faults))[:FAULTS]
    rows = [0] + [n for n, fault in enumerate(table.faults, 1) if (fault.part, fault.mode) in kept]
    faults = tuple(table.faults[row - 1] for row in rows[1:])
    return replace(
        table, faults=faults, data=table.data.isel(row=rows), strays=(), key=f"{table.key}, {len(faults)} faults"
    )


def thinned(sheet: Readings, count: int) -> Readings:
    """Return so many readings of a sheet, from all over it."""
    step = max(1, len(sheet.rows) // max(1, count))
    return replace(sheet, rows=sheet.rows[::step][:count])


def _timed(work: Callable[[Readings], object], sheets: list[Readings]) -> list[float]:
    times = []
    for readings in sheets:
        start = time.perf_counter()
        work(readings)
        times.append(1e3 * (time.perf_counter() - start))
    return times[1:]
