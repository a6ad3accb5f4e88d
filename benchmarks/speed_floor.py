"""What a table costs beside the bare analyses of a plain build, and how far its answer is from the plain one's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from benchmarks.speed_ledger import TimedSession, added
from benchmarks.speed_part import Part, label, samples
from benchmarks.speed_plain import Plain, bare, followed
from benchmarks.speed_same import Compared, compared
from lostgain.engine import Pool, Session
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row

Say = Callable[[str], None]
Account = dict[str, float]

#: Samples of a row whose bare analyses are timed; the row's others are taken to need as much.
TIMED = 3
#: Longest time a row may take both ways [s].
LIMIT = 600.0
#: Rows of stray paths are nominal only, and compared with nothing: they stand for faults nobody knows well.
_PARTS = ("small_signal", "transient", "whole")


@dataclass
class Floor:
    """Processor times a row, of faults and of stray paths, and the comparison of the answers.

    Parameters
    ----------
    ours, plain : dict
        Kind of row to accounts, one a row [s].
    compared : list of Compared
    dear : list
        The rows that took us longest: what, ours, plain [s].
    lost : list of str
        Rows that took longer than `LIMIT`, or whose transients gave no result to time.
    """

    ours: dict[str, list[Account]] = field(default_factory=lambda: {"fault": [], "stray": []})
    plain: dict[str, list[Account]] = field(default_factory=lambda: {"fault": [], "stray": []})
    compared: list[Compared] = field(default_factory=list)
    dear: list[tuple[str, float, float]] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Row:
    """A row to be run both ways; `whole` for all its samples' answers."""

    task: RowTask
    whole: bool


def measure(part: Part, compare: int, say: Say) -> Floor:
    """Run a part of a table both ways, row by row in turn, in one worker.

    Parameters
    ----------
    part : Part
    compare : int
        Faults whose answers are compared as well.
    say : callable
    """
    found = Floor()
    step = max(1, len(part.faults) // max(1, compare))
    with Pool(workers=1, time_limit=LIMIT) as pool:
        healthy = pool.map(run_row, [part.healthy])[0].value
        rows = [_Row(replace(task, healthy=healthy), task.instead is None and number % step == 0)
                for number, task in enumerate([*part.faults, *part.strays])]  # fmt: skip
        for index, outcome in pool.imap(_both, rows):
            what = label(rows[index].task)
            if outcome.error is not None:
                found.lost.append(f"{what}: {outcome.error}")
                say(f"  {found.lost[-1]}; left out")
                continue
            ours, plain, same = outcome.value
            kind = "fault" if rows[index].task.instead is None else "stray"
            found.ours[kind].append(ours)
            found.plain[kind].append(plain)
            found.compared += [same] if same else []
            times = sum(ours.values()), sum(plain.values())
            found.dear.append((what, *times))
            say(f"  {what}: {times[0]:.2f} s, plain {times[1]:.2f} s ({index + 1} of {len(rows)})")
    found.dear = sorted(found.dear, key=lambda each: -each[1])[:10]
    return found


def _both(_session: Session, row: _Row) -> tuple[Account, Account, Compared | None]:
    """Run a row both ways, in a worker."""
    session = TimedSession()
    session.begin()
    result = run_row(session, row.task)
    ours = dict(session.end())
    plain, answers = _plain(session, row.task, row.whole)
    return ours, plain, compared(label(row.task), result, answers) if row.whole else None


def _plain(session: TimedSession, task: RowTask, whole: bool) -> tuple[Account, list[Plain]]:
    """Return the plain build's processor time for a row and, where asked for, its answers for all samples."""
    circuit = task.circuit
    setup, nodes = circuit.unit.setup, list(circuit.points.values())
    flats = list(samples(task))
    answers: list[Plain] = []
    accounts: list[Account] = []
    for flat in flats if whole else flats[:TIMED]:
        given = setup.generator, setup.start_dc, setup.frequencies, nodes
        answers.append(followed(session, flat, *given))
        if len(accounts) < TIMED:
            accounts.append(bare(flat, *given, answers[-1].cycles))
    share = len(flats) / len(accounts)
    return {kind: share * sum(each[kind] for each in accounts) for kind in accounts[0]}, answers


def ratios(measured: Sequence[tuple[Floor, Part]]) -> dict[str, float]:
    """Return `floor_ratio` of the rows alone: small-signal part, transient part and whole, over the whole table.

    Parameters
    ----------
    measured : sequence of (Floor, Part)
        For each part that the table is put together from.
    """
    ours = [_scaled(floor.ours, part) for floor, part in measured]
    plain = [_scaled(floor.plain, part) for floor, part in measured]
    return {kind: sum(each[kind] for each in ours) / sum(each[kind] for each in plain) for kind in _PARTS}


def _scaled(accounts: dict[str, list[Account]], part: Part) -> Account:
    total = dict.fromkeys(_PARTS, 0.0)
    for kind, many in (("fault", part.all_faults), ("stray", part.all_strays)):
        if accounts[kind]:
            for name, seconds in added(accounts[kind]).items():
                total[name] += seconds * many / len(accounts[kind])
    return total


def plain_seconds(found: Floor, part: Part) -> float:
    """Return the processor time of the plain build's bare analyses, whole table [s]."""
    return _scaled(found.plain, part)["whole"]


def our_seconds(found: Floor, part: Part) -> float:
    """Return the processor time of our rows, whole table [s]."""
    return _scaled(found.ours, part)["whole"]
