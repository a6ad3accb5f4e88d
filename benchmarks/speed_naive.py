"""What a loop with PySpice takes a circuit: a `simulator()` a fault and sample, the same analyses."""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from benchmarks.speed_part import Part, samples
from benchmarks.speed_plain import SOLVERS
from lostgain.circuit.model import driven

#: Rows, and circuits of each, that are simulated. Cycles followed: what most circuits take to settle.
ROWS, EACH, CYCLES = 8, 2, 3


def naive_seconds(part: Part) -> dict[str, float]:
    """Return processor time a circuit [s], and the share of circuits that PySpice raised an error for."""
    setup = part.circuit.unit.setup
    step = max(1, len(part.faults) // ROWS)
    circuits = []
    for task in part.faults[::step][:ROWS]:
        for flat, _ in zip(samples(task), range(EACH), strict=False):
            lines = []
            for frequency in setup.frequencies:
                _, *text, _ = driven(flat, setup.generator, frequency, setup.start_dc).lines()
                lines.append([*text, SOLVERS[0]])
            circuits.append((lines, setup.frequencies, np.full(len(setup.frequencies), CYCLES).tolist()))
    with TemporaryDirectory(prefix="lostgain-") as folder:
        file = Path(folder) / "circuits.pickle"
        file.write_bytes(pickle.dumps(circuits))
        run = subprocess.run([sys.executable, "-m", "benchmarks.speed_naive_run", str(file)],
                             capture_output=True, text=True, check=True)  # fmt: skip
    found = json.loads(run.stdout.splitlines()[-1])
    return {"a_circuit": found["seconds"] / len(circuits), "failed": found["failed"] / len(circuits)}
