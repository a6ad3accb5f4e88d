"""Build a table in a process of its own: ``build_one.py FOLDER [MOMENT SIGNAL]``.

With a moment it sends itself a signal there: after so many rows, or when all of the table but its name is ``written``.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.problems import UserError
from lostgain.signatures import table
from lostgain.unit import open_unit


def main(folder: str, moment: str = "", sent: str = "") -> None:
    """Open, build and say the key."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # whatever started this may have it ignored
    written = os.fsync

    def progress(done: int, total: int) -> None:
        print(done, total, flush=True)
        if moment == str(done):
            os.kill(os.getpid(), signal.Signals[f"SIG{sent}"])

    def synced(file: int) -> None:
        written(file)
        os.kill(os.getpid(), signal.Signals[f"SIG{sent}"])

    if moment == "written":
        os.fsync = synced
    try:
        with Pool(workers=1) as pool:
            made = table(build(open_unit(Path(folder)), pool), pool, progress, draws=2)
    except UserError as error:
        print(error, flush=True)
        sys.exit(2)
    print(made.key, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
