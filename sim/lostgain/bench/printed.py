"""Levels and DC printed on the schematic, against the simulated healthy unit: slips before suspects."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.bench.printed_model import Explanation, PrintedLine, PrintedReport, Slip
from lostgain.bench.slips import other_circuits, printed_slips
from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import Pool, Session
from lostgain.signatures import Table
from lostgain.signatures.cycle import QUIET
from lostgain.signatures.steady import steady
from lostgain.unit.model import Printed, TestPoint

Progress = Callable[[int, int], None]
Values = NDArray[np.float64]

#: How far a printed value may lie off where no tolerance draws are at hand (common practice, no source).
LEVEL_DB, DC_SHARE, DC_VOLTS = 1.5, 0.10, 20e-3
#: On top of the range over tolerance draws: what a printed figure is rounded by and its meter was off by.
ROUNDED_DB, ROUNDED_SHARE, ROUNDED_VOLTS = 0.5, 0.03, 10e-3
#: Slips followed in time, the best by small-signal analysis.
FOLLOWED = 24
#: Misfits closer than this, in units of what is allowed, count as alike; the commoner slip then comes first.
_ALIKE = 0.2


@dataclass(frozen=True)
class Trial:
    """One circuit to be read at the printed points.

    Parameters
    ----------
    flat : FlatCircuit
    drive : float
        Generator [V rms].
    frequency : float
        [Hz]
    dc : float
        DC of the source [V].
    nodes : tuple of str
    """

    flat: FlatCircuit
    drive: float
    frequency: float
    dc: float
    nodes: tuple[str, ...]


@dataclass(frozen=True)
class _Entry:
    """A printed value and what is allowed around a simulated one: [dB] for a level, [V] and share for DC."""

    point: TestPoint
    printed: Printed
    node: int
    down: float
    up: float
    share: float

    def line(self, value: float) -> PrintedLine:
        if self.printed.quantity == "level":
            quiet = max(value, QUIET)
            low, high = quiet * 10 ** (-self.down / 20), quiet * 10 ** (self.up / 20)
            low = 0.0 if value <= QUIET else low
        else:
            low = value - max(self.down, self.share * abs(value))
            high = value + max(self.up, self.share * abs(value))
        if math.isnan(value):
            low = high = value
        printed = self.printed
        return PrintedLine(
            self.point.name, printed.quantity, printed.value, printed.text, value, low, high, printed.where
        )


def compare_printed(
    circuit: Circuit,
    pool: Pool | None = None,
    table: Table | None = None,
    progress: Progress | None = None,
    seconds: float = 45.0,
) -> PrintedReport:
    """Compare the values printed in the unit file with the simulated healthy unit; look for slips where they differ.

    Levels come from a transient at the set-up's drive and middle frequency, DC from the operating point. Slips are
    tried with small-signal analysis; those that explain most are then followed in time as well.

    Parameters
    ----------
    circuit : Circuit
    pool : Pool or None
        Workers to use; started if needed.
    table : Table or None
        The unit's signature table, for the range over part tolerances; without it an allowance of 1.5 dB, or 10 % or
        20 mV of DC, stands in.
    progress : callable or None
        Called with slips tried and slips in all.
    seconds : float
        Time for trying slips [s], and half of it again for following the best; what was left out is said.

    Returns
    -------
    PrintedReport
    """
    entries = _entries(circuit, table)
    if not entries:
        return PrintedReport(())
    if pool is None:
        with Pool() as own:
            return compare_printed(circuit, own, table, progress, seconds)
    nodes = tuple(circuit.points[entry.point.name] for entry in entries)
    outcome = pool.map(followed, [_trial(circuit, circuit.flat, nodes)])[0]
    healthy = outcome.value if outcome.error is None else (np.full(len(nodes), math.nan),) * 2
    lines = _lines(entries, *healthy)
    if all(line.agrees for line in lines):
        return PrintedReport(lines, allowance=_allowance(table))
    search = _Search(circuit, entries, nodes, lines, pool, time.monotonic() + seconds)
    everything = sorted(other_circuits(circuit, lines), key=lambda slip: slip.unusual)
    small = search.run(small_signal, everything, progress)
    small.sort(key=_order)
    search.until = time.monotonic() + seconds / 2
    found = search.run(followed, [one.slip for one in small[:FOLLOWED]])
    found += [search.explanation(slip, lines) for slip in printed_slips(lines)]
    found = [one for one in found if one.mended and _wrong(one.lines) < _wrong(lines)]
    found.sort(key=_order)
    return PrintedReport(lines, tuple(found), search.tried, len(everything), _allowance(table))


def _entries(circuit: Circuit, table: Table | None) -> list[_Entry]:
    entries: list[_Entry] = []
    for point in circuit.unit.points:
        for printed in point.printed:
            if printed.quantity == "level":
                down, up, share = LEVEL_DB, LEVEL_DB, 0.0
            else:
                down, up, share = DC_VOLTS, DC_VOLTS, DC_SHARE
            if table is not None:
                down, up, share = _of_draws(table, point.name, printed.quantity)
            entries.append(_Entry(point, printed, len(entries), down, up, share))
    return entries


def _of_draws(table: Table, point: str, quantity: str) -> tuple[float, float, float]:
    """What the tolerance draws allow below and above the nominal value, and the share of it that rounding allows."""
    where = table.points.index(point)
    samples = table.values("dc")[0, :, where] if quantity == "dc" else table.values("level")[0, :, where, 0]
    nominal, draws = samples[0], samples[np.isfinite(samples)]
    if quantity == "dc":
        return nominal - draws.min() + ROUNDED_VOLTS, draws.max() - nominal + ROUNDED_VOLTS, ROUNDED_SHARE
    decibels = 20 * np.log10(np.maximum(draws, QUIET) / max(nominal, QUIET))
    return ROUNDED_DB - decibels.min(), ROUNDED_DB + decibels.max(), 0.0


def _allowance(table: Table | None) -> str:
    if table is None:
        return f"within {LEVEL_DB:g} dB, or {DC_SHARE * 100:g} % or {DC_VOLTS * 1e3:g} mV of DC"
    return f"within the range over part tolerances and {ROUNDED_DB:g} dB, or {ROUNDED_VOLTS * 1e3:g} mV of DC"


def _trial(circuit: Circuit, flat: FlatCircuit, nodes: tuple[str, ...], drive: float = 1.0) -> Trial:
    setup = circuit.unit.setup
    return Trial(flat, setup.generator * drive, setup.frequencies[0], setup.start_dc, nodes)


def small_signal(session: Session, trial: Trial) -> tuple[Values, Values]:
    """Return DC [V] and small-signal level [V rms] at the trial's nodes; runs in a worker."""
    session.load(driven(trial.flat, trial.drive, trial.frequency, trial.dc).lines())
    return session.op(trial.nodes), np.abs(session.ac([trial.frequency], trial.nodes))[:, 0]


def followed(session: Session, trial: Trial) -> tuple[Values, Values]:
    """Return DC [V] and the level at drive [V rms] at the trial's nodes; runs in a worker."""
    dc, _ = small_signal(session, trial)
    return dc, steady(session, trial.flat, trial.drive, trial.frequency, trial.dc, trial.nodes).level


def _lines(entries: Sequence[_Entry], dc: Values, level: Values) -> tuple[PrintedLine, ...]:
    return tuple(
        entry.line(float(level[entry.node] if entry.printed.quantity == "level" else dc[entry.node]))
        for entry in entries
    )


def _wrong(lines: Sequence[PrintedLine]) -> int:
    return sum(not line.agrees for line in lines)


def _order(one: Explanation) -> tuple[object, ...]:
    """Complete ones first, then those that mend most; of those alike in misfit the commoner slip."""
    return (_wrong(one.lines), one.slip.unusual >= 2, round(one.misfit / _ALIKE), one.slip.unusual)


@dataclass
class _Search:
    """The trying of slips, until the time is up."""

    circuit: Circuit
    entries: list[_Entry]
    nodes: tuple[str, ...]
    before: tuple[PrintedLine, ...]
    pool: Pool
    until: float
    tried: int = 0

    def run(
        self,
        task: Callable[[Session, Trial], tuple[Values, Values]],
        slips: list[Slip],
        progress: Progress | None = None,
    ) -> list[Explanation]:
        """Return the slips that mend something, in the order given."""
        trials = [
            _trial(self.circuit, self.circuit.flat.with_values(slip.values), self.nodes, slip.drive) for slip in slips
        ]
        found: list[tuple[int, Explanation]] = []
        for done, (index, outcome) in enumerate(self.pool.imap(task, trials), 1):
            if task is small_signal:
                self.tried = done
            if outcome.error is None:
                one = self.explanation(slips[index], _lines(self.entries, *outcome.value))
                found += [(index, one)] if one.mended else []
            if progress is not None:
                progress(done, len(slips))
            if time.monotonic() > self.until:
                break
        return [one for _, one in sorted(found, key=lambda pair: pair[0])]

    def explanation(self, slip: Slip, lines: tuple[PrintedLine, ...]) -> Explanation:
        """Return what a slip explains; `lines` are the printed values beside those of the unit without it."""
        if slip.printed is not None:
            point, quantity, value = slip.printed
            lines = tuple(
                replace(line, printed=value) if (line.point, line.quantity) == (point, quantity) else line
                for line in lines
            )
        pairs = zip(self.before, lines, strict=True)
        mended = tuple(now for before, now in pairs if now.agrees and not before.agrees)
        return Explanation(slip, lines, mended, max(_misfit(line) for line in lines))


def _misfit(line: PrintedLine) -> float:
    """Return how far a printed value lies off, in units of what is allowed."""
    if math.isnan(line.simulated):
        return math.inf
    if line.quantity == "level":
        off = abs(math.log(max(line.printed, QUIET) / max(line.simulated, QUIET)))
        return off / math.log(line.high / max(line.simulated, QUIET))
    return abs(line.printed - line.simulated) / max(line.high - line.simulated, 1e-9)
