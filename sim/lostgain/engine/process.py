"""One worker process, as its supervisor sees it."""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, BinaryIO, cast

from lostgain.engine import library, wire

#: A worker that takes longer to start is taken for hung [s].
START_LIMIT = 60.0


class WorkerLost(Exception):
    """The worker died or was killed; the message says why."""


class Worker:
    """A worker process, the pipes to it, and a folder in which it may write.

    Parameters
    ----------
    time_limit : float
        For one item [s].
    """

    def __init__(self, time_limit: float) -> None:
        self.time_limit = time_limit
        self._knows: str | None = None
        self._scratch = tempfile.TemporaryDirectory(prefix="lostgain-", ignore_cleanup_errors=True)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "lostgain.engine.worker", self._scratch.name, repr(time_limit)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=_environment(),
        )

    def begin(self) -> tuple[str, ...]:
        """Wait until it is ready, and return the protection in force.

        Raises
        ------
        UserError
            If ngspice is missing or too old.
        WorkerLost
            If it did not start.
        """
        happened, value = self._receive(START_LIMIT)
        if happened != "ready":
            raise value
        return cast(tuple[str, ...], value)

    def ask(self, task: tuple[str, str], common: tuple[str, bytes] | None, item: Any) -> None:
        """Send an item; what all items have in common is sent once.

        Parameters
        ----------
        task : (str, str)
            Module and name of a function.
        common : (str, bytes) or None
            A digest of it, and it.
        item : object
        """
        key = common[0] if common is not None else None
        body = common[1] if common is not None and key != self._knows else None
        try:
            wire.send(cast(BinaryIO, self._process.stdin), (task, body, common is not None, item))
        except OSError:
            raise WorkerLost(self._how()) from None
        self._knows = key or self._knows

    def answer(self) -> tuple[str, Any, str, bool]:
        """Wait for the answer: what happened, value, traceback, and whether ngspice is finished."""
        return cast(tuple[str, Any, str, bool], self._receive(self.time_limit))

    def kill(self) -> None:
        """End it, now; from any thread."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        """End it, let go of its pipes and remove its folder; only while no other thread reads from it."""
        self.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with contextlib.suppress(OSError):  # what was still to be written goes nowhere
                pipe.close()
        self._scratch.cleanup()

    def _receive(self, limit: float) -> Any:
        try:
            return wire.receive(cast(BinaryIO, self._process.stdout), limit)
        except TimeoutError:
            self.kill()
            raise WorkerLost(f"the simulation took longer than {limit:g} s") from None
        except (EOFError, OSError, pickle.UnpicklingError):
            raise WorkerLost(self._how()) from None

    def _how(self) -> str:
        self._process.kill()
        code = self._process.wait()
        if code < 0:
            return f"the simulation ended its process (signal {-code})"
        return f"the simulation ended its process (exit code {code})"


def _environment() -> dict[str, str]:
    """Return the environment of a worker: this one's paths, one thread for numpy, ngspice where it was found."""
    paths = [path or str(Path.cwd()) for path in sys.path]
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(paths),
        "PYTHONDONTWRITEBYTECODE": "1",
        "NGSPICE_LIBRARY_PATH": library.find(),
        "LOSTGAIN_PARENT": str(os.getpid()),
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "MKL_NUM_THREADS": "1",
    }
