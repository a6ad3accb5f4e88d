"""The rows of a table: those that are kept, and those that are still to be simulated."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from lostgain.circuit import FlatCircuit
from lostgain.engine import Outcome, Pool, Session
from lostgain.faults import Fault, Stray, put_in, put_stray
from lostgain.problems import UserError
from lostgain.signatures.draws import drawn
from lostgain.signatures.kept import Kept
from lostgain.signatures.rows import RowResult, RowTask, empty, run_row
from lostgain.signatures.store import METHOD, SOLVER

#: A row: its faults, or a stray path; and whether it is followed in time.
Row = tuple[tuple[Fault, ...], Stray | None, bool]


@dataclass(frozen=True)
class Common:
    """What all rows of a table have in common.

    Parameters
    ----------
    like : RowTask
        Of the healthy unit.
    method : int
        `METHOD` where the table is put together.
    """

    like: RowTask
    method: int = METHOD


def simulated(
    like: RowTask,
    rows: Sequence[Row],
    kept: Kept,
    pool: Pool,
    progress: Callable[[int, int], None] | None = None,
) -> list[RowResult]:
    """Return the numbers of rows, simulating those that are not kept; rows of the same circuit only once.

    Parameters
    ----------
    like : RowTask
        The healthy unit's row.
    rows : sequence of Row
        The first is the healthy unit's.
    kept : Kept
    pool : Pool
    progress : callable or None
        Called with rows done and rows in all, of which those of the same circuit count once.
    """
    keys = row_keys(like, rows)
    wanted = dict(zip(reversed(keys), reversed(rows), strict=True))  # of twins the first
    done = kept.find(wanted, empty(like.circuit, len(like.z) + 1))
    # What took too long or crashed says nothing for certain, nor does what builds on it: it is not kept.
    healthy, certain = done.get(keys[0]), True
    if healthy is None:
        outcome = pool.map(_run, [rows[0]], common=Common(like))[0]
        certain = outcome.error is None
        healthy = done[keys[0]] = outcome.value if certain else _without(outcome, like, outcome.error or "")
        if certain:
            kept.add(keys[0], healthy)
        else:
            done = {keys[0]: healthy}
    common = Common(replace(like, healthy=healthy))
    waiting = [key for key in dict.fromkeys(keys) if key not in done]
    hung: list[tuple[str, str]] = []
    for count, (index, outcome) in enumerate(pool.imap(_run, [wanted[key] for key in waiting], common), 1):
        key = waiting[index]
        if outcome.error is None:
            done[key] = outcome.value
            if certain:
                kept.add(key, outcome.value)
        else:
            hung.append((key, outcome.error))
        if progress is not None:
            progress(len(wanted) - len(waiting) + count, len(wanted))
    # A circuit whose transient never ends still has an operating point, and DC tells most about it.
    again = [(wanted[key][0], wanted[key][1], False) for key, _ in hung]
    for (key, error), outcome in zip(hung, pool.map(_run, again, common=common), strict=True):
        done[key] = _without(outcome, like, error)
    return [done[key] for key in keys]


def row_keys(like: RowTask, rows: Sequence[Row]) -> list[str]:
    """Return a digest of all that each row's numbers come from.

    Parameters
    ----------
    like : RowTask
        The healthy unit's row.
    rows : sequence of Row
    """
    circuit, setup = like.circuit, like.circuit.unit.setup
    base = hashlib.sha256(like.z.tobytes())
    for each in (
        METHOD,
        SOLVER,
        circuit.version,
        circuit.flat.lines(),
        list(circuit.points.items()),
        [(rail.name, rail.volts, rail.resistance) for rail in circuit.unit.rails],
        [setup.generator, setup.start_dc, setup.frequencies],
        like.numbers,
        like.slow_draws,
    ):
        base.update(f"{each!r}\n".encode())
    # A draw tells a part set to a value from one that is changed to it, which at nominal values look the same.
    flats = [circuit.flat, *(drawn(circuit.flat, like.numbers, z) for z in like.z[:1])]
    keys = []
    for faults, stray, _ in rows:
        found = base.copy()
        found.update(b"stray" if stray is not None else b"fault")  # those are followed less closely
        for flat in flats:
            found.update("\n".join(_faulty(flat, like, faults, stray).lines()).encode())
        keys.append(found.hexdigest()[:32])
    return keys


def _faulty(flat: FlatCircuit, like: RowTask, faults: tuple[Fault, ...], stray: Stray | None) -> FlatCircuit:
    for fault in faults:
        flat = put_in(flat, fault, like.circuit)
    return put_stray(flat, stray) if stray is not None else flat


def _run(session: Session, common: Common, row: Row) -> RowResult:
    """Run a row; in a worker, which may be on another computer."""
    version = common.like.circuit.version
    if (METHOD, session.version) != (common.method, version):
        raise UserError(
            f"a worker has another lostgain or ngspice than this computer: table method {METHOD} and ngspice "
            f"{session.version} there, {common.method} and {version} here. Install the same versions on both."
        )
    faults, stray, in_time = row
    return run_row(session, replace(common.like, faults=faults, stray=stray, in_time=in_time))


def _without(outcome: Outcome, like: RowTask, error: str) -> RowResult:
    """Return a row that could not be followed in time, with the reason."""
    row: RowResult = outcome.value if outcome.error is None else empty(like.circuit, len(like.z) + 1)
    row.status = f"no transient: {error}"
    return row
