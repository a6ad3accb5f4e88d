"""How long the command takes to start, beside Python with numpy alone."""

from __future__ import annotations

import os
import resource
import subprocess
import sys

import numpy as np

COMMANDS = {"units": ["-m", "lostgain", "units"], "numpy": ["-c", "import numpy"]}


def cli_start(repeats: int) -> dict[str, float]:
    """Return processor time of ``lostgain units`` and of ``import numpy`` [ms], and their ratio: medians, by turns."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(repeats):
        for name, words in COMMANDS.items():
            before = _children()
            subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL, env=dict(os.environ))
            times[name].append(1e3 * (_children() - before))
    ours, theirs = (float(np.median(times[name])) for name in COMMANDS)
    return {"cli_start_ms": ours, "numpy_ms": theirs, "cli_start_ratio": ours / theirs}


def _children() -> float:
    return sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
