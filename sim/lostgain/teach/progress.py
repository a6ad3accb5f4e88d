"""An apprentice's drills over time: an SQLite file in the user's data folder, and what it says to drill next."""

from __future__ import annotations

import json
import os
import sqlite3
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from lostgain.problems import Problem, UserError, Where
from lostgain.teach.debrief import Debrief
from lostgain.teach.order import levels
from lostgain.teach.traps import trap_titles
from lostgain.unit.model import Unit

#: Columns, in the order of the export.
COLUMNS = ("finished", "unit", "level", "seed", "channel", "failed", "kinds", "modes", "solved", "hazard", "minutes",
           "readings", "money", "policy_minutes", "policy_readings", "needless", "traps")  # fmt: skip
_MAKE = f"""create table if not exists drills (id integer primary key, {", ".join(COLUMNS)})"""
#: Solved drills of a level, the last ones, after which the next level is proposed; and how near the policy's minutes.
ENOUGH, NEAR = 3, 0.5


def file() -> Path:
    """Return where it is kept: in ``LOSTGAIN_DATA``, or the system's place for a user's data."""
    named = os.environ.get("LOSTGAIN_DATA")
    folder = Path(named) if named else Path(platformdirs.user_data_dir("lostgain", appauthor=False))
    return folder / "progress.db"


@contextmanager
def _opened() -> Iterator[sqlite3.Connection]:
    path = file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with closing(sqlite3.connect(path, timeout=10)) as base:
            base.execute(_MAKE)
            yield base
            base.commit()
    except (OSError, sqlite3.Error) as error:
        said = f"the progress of drills cannot be kept here: {error}."
        raise UserError(Problem(said, Where(path), "Set LOSTGAIN_DATA to a folder that may be written.")) from error


def keep(looked: Debrief, unit: Unit, finished: str) -> None:
    """Add a finished drill.

    Parameters
    ----------
    looked : Debrief
    unit : Unit
    finished : str
        When it was finished, ISO 8601.
    """
    drill, result = looked.drill, looked.score
    parts = [unit.parts.get(each.part) for each in drill.hidden.members]
    row = {
        "finished": finished, "unit": drill.hidden.unit, "level": drill.hidden.level, "seed": drill.hidden.seed,
        "channel": drill.hidden.channel, "failed": "; ".join(looked.labels),
        "kinds": "; ".join(dict.fromkeys(part.kind if part else "rail" for part in parts)),
        "modes": "; ".join(dict.fromkeys(each.mode for each in drill.hidden.members)),
        "solved": int(result.solved), "hazard": result.hazard, "minutes": result.minutes,
        "readings": result.readings, "money": result.money,
        "policy_minutes": result.best.minutes + result.best.repair, "policy_readings": len(result.best.readings),
        "needless": "; ".join(result.needless), "traps": "; ".join(each.name for each in looked.traps),
    }  # fmt: skip
    marks = ", ".join("?" for _ in COLUMNS)
    with _opened() as base:
        base.execute(f"insert into drills ({', '.join(COLUMNS)}) values ({marks})", [row[name] for name in COLUMNS])


def rows() -> list[dict[str, Any]]:
    """Return all drills that were finished, the oldest first."""
    with _opened() as base:
        found = base.execute(f"select {', '.join(COLUMNS)} from drills order by id").fetchall()
    return [dict(zip(COLUMNS, each, strict=True)) for each in found]


@dataclass(frozen=True)
class Group:
    """Drills that have something in common.

    Parameters
    ----------
    name : str
    count, solved : int
    times : float or None
        Minutes over the policy's, on average over those solved; None where none was.
    """

    name: str
    count: int
    solved: int
    times: float | None


@dataclass(frozen=True)
class Progress:
    """How an apprentice gets on.

    Parameters
    ----------
    count, solved, unsafe : int
    by_kind, by_level : tuple of Group
        What takes longest first; levels in order.
    traps, hazards : tuple of (str, int)
        By name, the most frequent first.
    next_level : int
        To drill next.
    next_count : int
        Of the last `ENOUGH` drills of that level, how many were solved in about the policy's time.
    next_kinds : tuple of str
        Kinds of part that take long, or were not found.
    """

    count: int
    solved: int
    unsafe: int
    by_kind: tuple[Group, ...]
    by_level: tuple[Group, ...]
    traps: tuple[tuple[str, int], ...]
    hazards: tuple[tuple[str, int], ...]
    next_level: int
    next_count: int
    next_kinds: tuple[str, ...]


def progress(done: Sequence[Mapping[str, Any]]) -> Progress:
    """Return how an apprentice gets on.

    Parameters
    ----------
    done : sequence of mapping
        From `rows`.
    """
    kinds: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    stages: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    fallen: Counter[str] = Counter()
    unsafe: Counter[str] = Counter()
    for row in done:
        for kind in filter(None, str(row["kinds"]).split("; ")):
            kinds[kind].append(row)
        stages[int(row["level"])].append(row)
        fallen.update(filter(None, str(row["traps"]).split("; ")))
        unsafe.update(filter(None, [str(row["hazard"])]))
    by_kind = sorted((_group(name, each) for name, each in kinds.items()), key=_trouble)
    hard = tuple(each.name for each in by_kind if each.solved < each.count or (each.times or 0.0) > 1 / NEAR)
    return Progress(
        len(done), sum(bool(row["solved"]) for row in done), sum(unsafe.values()), tuple(by_kind),
        tuple(_group(str(number), stages[number]) for number in sorted(stages)),
        tuple(fallen.most_common()), tuple(unsafe.most_common()), *_next_level(stages), hard[:3],
    )  # fmt: skip


def _group(name: str, each: Sequence[Mapping[str, Any]]) -> Group:
    solved = [row for row in each if row["solved"]]
    times = [float(row["minutes"]) / max(float(row["policy_minutes"]), 1e-9) for row in solved]
    return Group(name, len(each), len(solved), sum(times) / len(times) if times else None)


def _trouble(group: Group) -> tuple[float, float, str]:
    """What is found least often, and takes longest, comes first."""
    return (group.solved / group.count, -(group.times or 0.0), group.name)


def _next_level(stages: Mapping[int, Sequence[Mapping[str, Any]]]) -> tuple[int, int]:
    """Return the lowest level whose last drills were not all solved in about the policy's time, and how many were."""
    for number in sorted(levels()):
        last = list(stages.get(number, ()))[-ENOUGH:]
        well = [row for row in last if row["solved"] and float(row["policy_minutes"]) >= NEAR * float(row["minutes"])]
        if len(well) < ENOUGH:
            return number, len(well)
    return max(levels()), ENOUGH


def progress_record(found: Progress, done: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return an apprentice's progress as plain data."""

    def groups(each: tuple[Group, ...]) -> list[dict[str, Any]]:
        return [{"name": one.name, "drills": one.count, "solved": one.solved, "times": one.times} for one in each]

    return {
        "drills": found.count, "solved": found.solved, "unsafe": found.unsafe, "kinds": groups(found.by_kind),
        "levels": groups(found.by_level), "traps": dict(found.traps), "hazards": dict(found.hazards),
        "next": {"level": found.next_level, "solved": found.next_count, "kinds": list(found.next_kinds)},
        "done": json.loads(json.dumps(list(done))),
    }  # fmt: skip


def trap_title(name: str) -> str:
    """Return what a trap is called for people."""
    return trap_titles().get(name, name)
