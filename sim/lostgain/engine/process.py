"""One worker process, as the pool sees it."""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, cast

from lostgain.engine import library, wire

#: A worker that takes longer to start is taken for hung [s].
START_LIMIT = 60.0


class WorkerLost(Exception):
    """The worker died or was killed; the message says why."""


class Worker:
    """A worker process and the pipes to it.

    Parameters
    ----------
    scratch : Path
        An empty folder of its own.
    time_limit : float
        For one item [s].
    """

    def __init__(self, scratch: Path, time_limit: float) -> None:
        self.time_limit = time_limit
        self._deadline: float | None = time.monotonic() + START_LIMIT
        self._was_late = False
        self._process = subprocess.Popen(
            [sys.executable, "-m", "lostgain.engine.worker", str(scratch), repr(time_limit)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=_environment(),
        )

    def begin(self) -> tuple[str, ...]:
        """Wait until it is ready, and return the protection in force.

        Raises
        ------
        UserError
            If ngspice is missing or too old.
        RuntimeError
            If it did not start.
        """
        try:
            happened, value = self._receive()
        except WorkerLost as lost:
            raise RuntimeError(f"a worker process could not be started: {lost}") from None
        if happened != "ready":
            raise value
        self._deadline = None
        return cast(tuple[str, ...], value)

    def ask(self, name: tuple[str, str], items: list[Any]) -> None:
        """Send items; each is answered by itself."""
        self._deadline = time.monotonic() + self.time_limit
        try:
            assert self._process.stdin is not None
            wire.send(cast(Any, self._process.stdin), (name, items))
        except OSError:
            self._deadline = None
            raise WorkerLost(self._how()) from None

    def answer(self) -> tuple[str, Any, str, bool]:
        """Wait for the answer to the next item: what happened, value, traceback, and whether ngspice is finished."""
        self._deadline = time.monotonic() + self.time_limit
        try:
            return cast(tuple[str, Any, str, bool], self._receive())
        finally:
            self._deadline = None

    def late(self) -> bool:
        """Say whether it is over time; asked by the pool's watch, in another thread."""
        deadline = self._deadline
        self._was_late = self._was_late or (deadline is not None and time.monotonic() > deadline)
        return self._was_late

    def kill(self) -> None:
        """End it, now; from any thread."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        """End it and let go of its pipes; only from the thread that reads them."""
        self.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with contextlib.suppress(OSError):  # what was still to be written goes nowhere
                pipe.close()

    def _receive(self) -> Any:
        assert self._process.stdout is not None
        try:
            return wire.receive(cast(Any, self._process.stdout))
        except (EOFError, OSError, pickle.UnpicklingError):
            raise WorkerLost(self._how()) from None

    def _how(self) -> str:
        self._process.kill()
        code = self._process.wait()
        if self._was_late:
            return f"the simulation took longer than {self.time_limit:g} s"
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
