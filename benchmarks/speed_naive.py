"""What a loop with PySpice takes, beside the bare analyses: a `simulator()` a fault and sample, the same analyses."""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.speed_part import Part, samples
from benchmarks.speed_plain import SOLVERS, bare, followed
from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Pool, Session

#: Rows, and circuits of each, that are simulated; longest time that one may take [s].
ROWS, EACH, LIMIT = 16, 2, 120.0


def naive_seconds(part: Part) -> dict[str, float]:
    """Return processor times of the same circuits and analyses, a circuit [s].

    Each is followed for as many cycles as the plain build finds that it takes to settle. What gives no result there, or
    takes too long, is left out of both.

    Returns
    -------
    dict
        ``a_circuit`` with PySpice, ``bare`` with nothing but the commands, the share of circuits that PySpice raised
        an error for (``failed``) and how many were run (``circuits``).
    """
    setup, nodes = part.circuit.unit.setup, list(part.circuit.points.values())
    given = setup.generator, setup.start_dc, setup.frequencies, nodes
    step = max(1, len(part.faults) // ROWS)
    flats = [
        flat for task in part.faults[::step][:ROWS] for flat, _ in zip(samples(task), range(EACH), strict=False)
    ]  # fmt: skip
    circuits, seconds = [], 0.0
    with Pool(workers=1, time_limit=LIMIT) as pool:
        for flat, outcome in zip(flats, pool.map(_bare, [(flat, *given) for flat in flats]), strict=True):
            if outcome.error is not None or outcome.value is None:
                continue
            cycles, spent = outcome.value
            seconds += spent
            lines = []
            for frequency in setup.frequencies:
                _, *text, _ = driven(flat, setup.generator, frequency, setup.start_dc).lines()
                lines.append([*text, SOLVERS[0]])
            circuits.append((lines, setup.frequencies, cycles))
    with TemporaryDirectory(prefix="lostgain-") as folder:
        file = Path(folder) / "circuits.pickle"
        file.write_bytes(pickle.dumps(circuits))
        run = subprocess.run([sys.executable, "-m", "benchmarks.speed_naive_run", str(file)],
                             capture_output=True, text=True, check=True)  # fmt: skip
    found = json.loads(run.stdout.splitlines()[-1])
    count = len(circuits)
    return {
        "a_circuit": found["seconds"] / count, "bare": seconds / count, "failed": found["failed"] / count,
        "circuits": count,
    }  # fmt: skip


def _bare(
    session: Session, item: tuple[FlatCircuit, float, float, tuple[float, ...], list[str]]
) -> tuple[list[int], float] | None:
    """Return the cycles that a circuit takes to settle at each frequency, and what the bare analyses take [s]."""
    answer = followed(session, *item)
    if not answer.cycles.all():
        return None
    try:
        return answer.cycles.tolist(), sum(bare(*item, answer.cycles).values())
    except EngineError:
        return None
