"""``scripts/bench endurance``: thousands of circuits through one pool, some of which do all they can to break it.

In the first half workers are killed, hang, run out of memory and lose their ngspice; the second half leaves them alone,
so that each grows as old as it can. Counted are the outcomes against what each item must come to, memory, and the
processes that are left.
"""

from __future__ import annotations

import json
import os
import pickle
import random
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.endurance_task import SORTS, Item, Ran, resident, run, wait_for
from lostgain.circuit import build
from lostgain.engine import Outcome, Pool
from lostgain.faults import listing
from lostgain.unit import open_unit

UNIT = "state-variable-filter"
CIRCUITS = 20_000

#: Longest time an item may take [s]; a circuit of `UNIT` takes some ten milliseconds.
TIME_LIMIT = 10.0

#: How many of a thousand items of the first half are of each sort; the rest is faulty, and healthy one in ten.
ROUGH = {"no solution": 20, "refused": 10, "no recovery": 4, "killed": 4, "hangs": 1, "memory": 1}
#: … and of the second half.
CALM = {"no solution": 20, "refused": 10}

#: What the error of a sort says; a healthy or faulty circuit comes to a value, or to an error of the analysis.
SAYS = {
    "no solution": ("solution", "singular", "no result"),
    "refused": ("nowhere", "refused", "no result", "subckt"),
    "no recovery": ("refused", "cannot recover", "finished", "undefined", "nowhere"),
    "killed": ("ended its process (signal 9)",),
    "hangs": ("took longer than",),
    "memory": ("memory", "ended its process"),
}

#: Items between two looks at the memory.
EACH = 500

#: What may be added to the memory of parent or worker after the first tenth [MB].
GROWTH_GOAL = 10.0


@dataclass
class Seen:
    """What has been seen so far.

    Parameters
    ----------
    parent : list of (int, float)
        Circuits done and the parent's resident memory [MB].
    workers : dict
        Worker's process to its memory after each circuit it ran [MB].
    outcomes : Counter
        (sort, what became of it) to how often.
    strange : list of str
        Outcomes that are not what the item must come to.
    """

    parent: list[tuple[int, float]] = field(default_factory=list)
    workers: dict[int, list[float]] = field(default_factory=dict)
    outcomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    strange: list[str] = field(default_factory=list)

    def take(self, item: Item, outcome: Outcome) -> None:
        """Count one outcome."""
        became, right = judged(item.sort, outcome)
        self.outcomes[item.sort, became] += 1
        if not right and len(self.strange) < 100:
            self.strange.append(f"item {item.number}, {item.sort}: {outcome.error or outcome.value}")
        if isinstance(outcome.value, Ran):
            self.workers.setdefault(outcome.value.pid, []).append(outcome.value.memory)


def judged(sort: str, outcome: Outcome) -> tuple[str, bool]:
    """Return what became of an item, and whether that is what it must come to."""
    if sort in SAYS:
        return "error", outcome.error is not None and any(word in outcome.error for word in SAYS[sort])
    if outcome.error is not None:  # some faults leave a circuit without an operating point; a healthy one has it
        return "error", sort == "faulty" and "process" not in outcome.error and "longer" not in outcome.error
    return "value", isinstance(outcome.value, Ran) and outcome.value.finite


def endurance(circuits: int, workers: int, seed: int, out: Path, say: Callable[[str], None]) -> dict[str, Any]:
    """Run so many circuits through one pool, print the figures and write them.

    Parameters
    ----------
    circuits, workers, seed : int
    out : Path
        The JSON file.
    say : callable
        Takes lines of progress.

    Returns
    -------
    dict
        The figures, as written.
    """
    seen = Seen()
    begun = time.monotonic()
    before = set(children())
    unit = open_unit(UNIT)
    circuit = build(unit)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "circuit"
        file.write_bytes(pickle.dumps((circuit, listing(circuit))))
        items = drawn(circuits, seed, str(file))
        with Pool(workers, TIME_LIMIT) as pool:
            for start in range(0, circuits, EACH):
                batch = items[start : start + EACH]
                for index, outcome in pool.imap(run, batch):
                    seen.take(batch[index], outcome)
                seen.parent.append((start + len(batch), resident(os.getpid())))
                say(f"{start + len(batch)} of {circuits} circuits, {time.monotonic() - begun:.0f} s, "
                    f"{len(seen.workers)} workers so far, {seen.parent[-1][1]:.0f} MB")  # fmt: skip
    wait_for(lambda: set(children()) <= before)
    left = len(set(children()) - before)
    figures = figures_of(seen, circuits, time.monotonic() - begun, left, seed, workers)
    out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    print(text(figures))
    return figures


def drawn(circuits: int, seed: int, file: str) -> list[Item]:
    """Return the items: rough ones in the first half."""
    chance = random.Random(seed)
    items = []
    for number in range(circuits):
        shares = ROUGH if number < circuits // 2 else CALM
        mark = chance.randrange(1000)
        sort = "healthy" if mark % 10 == 0 else "faulty"
        for name, share in shares.items():
            mark -= share
            if mark < 0:
                sort = name
                break
        items.append(Item(number, sort, file))
    return items


def children() -> list[int]:
    """Return the processes whose parent is this one."""
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == os.getpid():
            found.append(int(status.parent.name))
    return found


def growth(values: list[float]) -> float:
    """Return by how much values grow from their first tenth to their last, in medians [MB]."""
    tenth = max(1, len(values) // 10)
    return float(np.median(values[-tenth:]) - np.median(values[tenth : 2 * tenth] or values))


def figures_of(seen: Seen, circuits: int, seconds: float, left: int, seed: int, workers: int) -> dict[str, Any]:
    """Return the figures."""
    oldest = max(seen.workers.values(), key=len, default=[0.0])
    parent = [memory for _, memory in seen.parent]
    sorts = {name: {became: seen.outcomes[name, became] for became in ("value", "error")} for name in SORTS}
    return {
        "circuits": circuits,
        "accounted": sum(seen.outcomes.values()),
        "strange": seen.strange,
        "outcomes": sorts,
        "seconds": round(seconds, 1),
        "workers_used": len(seen.workers),
        "oldest_worker_circuits": len(oldest),
        "oldest_worker_growth_mb": round(growth(oldest), 2),
        "worker_peak_mb": round(max((max(each) for each in seen.workers.values()), default=0.0), 1),
        "parent_growth_mb": round(growth(parent), 2),
        "parent_peak_mb": round(max(parent, default=0.0), 1),
        "processes_left": left,
        "seed": seed,
        "workers": workers,
        "goal_growth_mb": GROWTH_GOAL,
    }


def text(figures: Mapping[str, Any]) -> str:
    """Return the figures for people."""
    lines = [
        f"Endurance: {figures['circuits']} circuits through one pool of {figures['workers']} in "
        f"{figures['seconds']:.0f} s",
        f"  accounted for       {figures['accounted']}, {len(figures['strange'])} of them not as they must be",
        f"  processes left      {figures['processes_left']}",
        f"  parent              {figures['parent_growth_mb']:+.1f} MB from first to last tenth, "
        f"{figures['parent_peak_mb']:.0f} MB at most (goal {figures['goal_growth_mb']:g} MB)",
        f"  oldest worker       {figures['oldest_worker_growth_mb']:+.1f} MB over "
        f"{figures['oldest_worker_circuits']} circuits, {figures['worker_peak_mb']:.0f} MB at most",
        f"  workers used        {figures['workers_used']}",
    ]
    for name, row in figures["outcomes"].items():
        lines.append(f"  {name:<19} {row['value']} values, {row['error']} errors ({SORTS[name]})")
    return "\n".join([*lines, *(f"  not as it must be: {each}" for each in figures["strange"][:10])])
