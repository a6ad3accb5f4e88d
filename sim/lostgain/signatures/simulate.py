"""The rows of a table: those that are kept, and those that are still to be simulated."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from lostgain.engine import Outcome, Pool, Session
from lostgain.faults import Fault, Stray
from lostgain.problems import UserError
from lostgain.signatures.controls import Turn
from lostgain.signatures.draws import drawn
from lostgain.signatures.kept import Kept
from lostgain.signatures.row import RowResult, RowTask, changed, empty
from lostgain.signatures.rows import run_row
from lostgain.signatures.store import METHOD

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Result = TypeVar("Result", bound="DataclassInstance")
#: What of a table's content one row does not come from: its faulty circuit says it for the row.
FAULTS = ("faults", "failure modes", "severities between")
#: A row: its faults, or a stray path or a turned control; and whether it is followed in time.
Row = tuple[tuple[Fault, ...], Stray | Turn | None, bool]
#: In a row's key, how closely it is followed.
_FOLLOWED: dict[type, bytes] = {type(None): b"fault", Stray: b"stray", Turn: b"turn"}


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
    content: Mapping[str, Any],
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
    content : mapping
        What the table is made of, see `store.made_of`.
    kept : Kept
    pool : Pool
    progress : callable or None
        Called with rows done and rows in all, of which those of the same circuit count once.
    """
    keys = row_keys(like, rows, content)
    none = empty(like.circuit, len(like.z) + 1)

    def common(healthy: RowResult | None) -> Common:
        return Common(replace(like, healthy=healthy))

    wanted: dict[str, Row] = {}
    for key, row in zip(keys, rows, strict=True):
        wanted.setdefault(key, row)
    done, lost = simulated_or_kept(_run, common, wanted, none, kept, pool, progress)
    # A circuit whose transient never ends still has an operating point, and DC tells most about it.
    again = [(*wanted[key][:2], False) for key in lost]
    outcomes = pool.map(_run, again, common=common(done.get(keys[0])))
    for (key, error), outcome in zip(lost.items(), outcomes, strict=True):
        done[key] = _without(outcome, like, error)
    return [done[key] for key in keys]


def simulated_or_kept(
    run: Callable[[Session, Any, Any], Result],
    common: Callable[[Result | None], Any],
    items: Mapping[str, Any],
    none: Result,
    kept: Kept,
    pool: Pool,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[dict[str, Result], dict[str, str]]:
    """Return rows of any kind, simulating those that are not kept.

    Parameters
    ----------
    run : callable
        ``run(session, common, item)``, at module level.
    common : callable
        Given the healthy unit's row, or None while that is simulated or where it was lost, returns what all items have
        in common.
    items : mapping
        From the key of each row, see `Kept`, to what is sent for it; the healthy unit's first.
    none : dataclass
        A row without numbers.
    kept : Kept
    pool : Pool
    progress : callable or None
        Called with rows done and rows in all.

    Returns
    -------
    done : dict
        Key to row.
    lost : dict
        Key to the reason why there is no row: its simulation took too long, or crashed. That says nothing for certain,
        nor does what builds on it, so it is not kept.
    """
    first = next(iter(items))
    done = kept.find(items, none)
    lost: dict[str, str] = {}
    if first not in done:
        outcome = pool.map(run, [items[first]], common=common(None))[0]
        if outcome.error is None:
            done[first] = outcome.value
            kept.add(first, outcome.value)
        else:
            done, lost = {}, {first: outcome.error}
    certain = not lost
    waiting = [key for key in items if key not in done and key not in lost]
    given = common(done.get(first))
    for count, (index, outcome) in enumerate(pool.imap(run, [items[key] for key in waiting], given), 1):
        key = waiting[index]
        if outcome.error is None:
            done[key] = outcome.value
            if certain:
                kept.add(key, outcome.value)
        else:
            lost[key] = outcome.error
        if progress is not None:
            progress(len(items) - len(waiting) + count, len(items))
    return done, lost


def row_keys(like: RowTask, rows: Sequence[Row], content: Mapping[str, Any]) -> list[str]:
    """Return a digest of all that each row's numbers come from.

    Parameters
    ----------
    like : RowTask
        The healthy unit's row.
    rows : sequence of Row
    content : mapping
        What the table is made of: all but which faults it has counts for each row.
    """
    circuit = like.circuit
    shared = [each for name, each in content.items() if name not in FAULTS]
    rails = [(rail.name, rail.volts, rail.resistance) for rail in circuit.unit.rails]
    base = hashlib.sha256(json.dumps([shared, rails]).encode())
    # A draw tells a part set to a value from one that is changed to it, which at nominal values look the same.
    flats = [circuit.flat, *(drawn(circuit.flat, like.numbers, z) for z in like.z[:1])]
    keys = []
    for faults, instead, _ in rows:
        found = base.copy()
        found.update(_FOLLOWED[type(instead)])
        for flat in flats:
            found.update("\n".join(changed(flat, circuit, faults, instead).lines()).encode())
        keys.append(found.hexdigest()[:32])
    return keys


def _run(session: Session, common: Common, row: Row) -> RowResult:
    """Run a row; in a worker, which may be on another computer."""
    same_versions(session, METHOD, common.method, common.like.circuit.version)
    faults, instead, in_time = row
    return run_row(session, replace(common.like, faults=faults, instead=instead, in_time=in_time))


def same_versions(session: Session, method: int, wanted: int, ngspice: int) -> None:
    """Refuse to simulate where that would give other numbers than elsewhere.

    Raises
    ------
    UserError
        If this worker's lostgain or ngspice is not of the version wanted.
    """
    if (method, session.version) != (wanted, ngspice):
        raise UserError(
            f"a worker has another lostgain or ngspice than this computer: table method {method} and ngspice "
            f"{session.version} there, {wanted} and {ngspice} here. Install the same versions on both."
        )


def _without(outcome: Outcome, like: RowTask, error: str) -> RowResult:
    """Return a row that could not be followed in time, with the reason."""
    row: RowResult = outcome.value if outcome.error is None else empty(like.circuit, len(like.z) + 1)
    row.status = f"no transient: {error}"
    return row
