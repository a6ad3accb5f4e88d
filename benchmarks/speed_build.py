"""A whole table built in a process of its own: ``python -m benchmarks.speed_build UNIT WORKERS``."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.signatures import table
from lostgain.unit import open_unit

#: Longest time a row may take [s].
LIMIT = 120.0


def whole(unit: str, workers: int) -> dict[str, float]:
    """Build a unit's table in an empty folder; return seconds, processor seconds, megabytes in memory and on disk."""
    with tempfile.TemporaryDirectory(prefix="lostgain-") as folder:
        run = subprocess.run([sys.executable, "-m", "benchmarks.speed_build", unit, str(workers)],
                             env={**os.environ, "LOSTGAIN_CACHE": folder}, stdout=subprocess.PIPE, text=True,
                             check=True)  # fmt: skip
    return dict(json.loads(run.stdout.splitlines()[-1]))


def main() -> None:
    """Build a table and print what it took."""
    name, workers = sys.argv[1], int(sys.argv[2])
    circuit = build(open_unit(name))
    begin, before = time.perf_counter(), _processor()
    with Pool(workers=workers, time_limit=LIMIT) as pool:
        found = table(circuit, pool)
    took = time.perf_counter() - begin
    file = next(Path(os.environ["LOSTGAIN_CACHE"]).glob(f"{name}-*.nc"))
    print(json.dumps({
        "rows": int(found.data.sizes["row"]),
        "seconds": took,
        "processor_seconds": _processor() - before,
        "rss_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "table_mb": file.stat().st_size / 1e6,
    }))  # fmt: skip


def _processor() -> float:
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


if __name__ == "__main__":
    main()
