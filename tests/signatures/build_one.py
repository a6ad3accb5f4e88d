"""Build a table in a process of its own: ``build_one.py FOLDER [ROWS]``; with ROWS it ends there, as by kill -9."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.signatures import table
from lostgain.unit import open_unit


def main(folder: str, rows: str = "") -> None:
    """Open, build and say the key."""

    def progress(done: int, total: int) -> None:
        print(done, total, flush=True)
        if rows and done >= int(rows):
            os.kill(os.getpid(), signal.SIGKILL)

    with Pool(workers=1) as pool:
        made = table(build(open_unit(Path(folder)), pool), pool, progress, draws=2)
    print(made.key, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
