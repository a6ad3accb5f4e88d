"""A few simulations under supervision: what an executor runs, in a thread or process of its own.

Each thread that is handed a batch keeps one worker process with an ngspice of its own. A worker that dies or hangs is
replaced and its item tried again, so that it costs that item and not the thread, the process or the executor.
"""

from __future__ import annotations

import sys
import threading
import time
from concurrent.futures import CancelledError
from dataclasses import dataclass, field
from typing import Any

from lostgain.engine.process import Worker, WorkerLost
from lostgain.problems import NoWorker

#: How often an item is tried when its worker dies or hangs, if nothing else is said, and how often one is started.
TRIES = 3
#: A batch is handed back after so long, done or not, so that what is done is known and the rest can be shared out [s].
SHARE = 0.5


@dataclass(frozen=True)
class Outcome:
    """What became of one item.

    Parameters
    ----------
    value : object
        What the task returned; None if it failed.
    error : str or None
        Why it failed, in one sentence; None if it did not.
    said : tuple of str
        What ngspice printed, where it was ngspice that failed.
    """

    value: Any = None
    error: str | None = None
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Batch:
    """A few items of one task.

    Parameters
    ----------
    owner : str
        The pool it comes from; a worker serves one pool.
    time_limit : float
        Longest time one item may take [s].
    task : (str, str)
        Module and name of a function.
    common : (str, bytes) or None
        What all items have in common, pickled, and a digest of it.
    items : tuple of (int, object)
        Each with its number.
    tries : int
        How often an item is tried when its worker dies or hangs.
    """

    owner: str
    time_limit: float
    task: tuple[str, str]
    common: tuple[str, bytes] | None
    items: tuple[tuple[int, Any], ...]
    tries: int = TRIES


@dataclass
class Returned:
    """What became of a batch: outcomes, items that are left, a mistake that ends the whole work."""

    done: list[tuple[int, Outcome]] = field(default_factory=list)
    left: tuple[tuple[int, Any], ...] = ()
    mistake: Exception | None = None
    protection: tuple[str, ...] = ()


def supervised(batch: Batch) -> Returned:
    """Do a batch, or what can be done of it in `SHARE`, at least one item."""
    keeper: Keeper | None = getattr(_here, "keeper", None)
    if keeper is None or keeper.owner != batch.owner:
        if keeper is not None:
            keeper.close()
        keeper = _here.keeper = Keeper(batch.owner)
    return keeper.do(batch)


def end(owner: str) -> None:
    """End the workers of a pool in this process, whatever they are at."""
    with _lock:
        _ended.add(owner)
        keepers = [keeper for keeper in _keepers if keeper.owner == owner]
    for keeper in keepers:
        keeper.kill()
    for keeper in keepers:
        keeper.close()


class Keeper:
    """Keeps one worker at work, for one thread.

    The worker is started by this thread, since Linux kills it when the thread that started it ends.
    """

    def __init__(self, owner: str) -> None:
        self.owner = owner
        self.protection: tuple[str, ...] = ()
        self._worker: Worker | None = None
        self._busy = threading.Lock()

    def do(self, batch: Batch) -> Returned:
        """Do a batch; see `supervised`."""
        returned = Returned()
        until = time.monotonic() + SHARE
        with self._busy:
            for place, (index, item) in enumerate(batch.items):
                if place and time.monotonic() > until:
                    returned.left = batch.items[place:]
                    break
                try:
                    returned.done.append((index, self._one(batch, item)))
                except CancelledError:
                    raise
                except Exception as mistake:
                    returned.mistake = mistake
                    self._end()
                    break
        returned.protection = self.protection
        return returned

    def _one(self, batch: Batch, item: Any) -> Outcome:
        tried = 0
        while True:
            worker = self._ready(batch.time_limit)
            try:
                worker.ask(batch.task, batch.common, item)
            except WorkerLost:  # it had gone while it waited, and never saw the item
                self._end()
                continue
            try:
                happened, value, trace, dead = worker.answer()
            except WorkerLost as lost:
                self._end()
                tried += 1
                if tried == batch.tries:
                    return Outcome(None, str(lost))
                continue
            if dead:
                self._end()
            if happened == "raised":
                if trace and sys.version_info >= (3, 11):
                    value.add_note(trace)
                raise value
            if happened == "failed":
                return Outcome(None, value.reason, value.said)
            return Outcome(value)

    def _ready(self, time_limit: float) -> Worker:
        """Return the worker, started if need be."""
        tried = 0
        while True:
            with _lock:
                if self.owner in _ended:
                    raise CancelledError
                if self._worker is not None:
                    return self._worker
                worker = Worker(time_limit)
                self._worker = worker
                _keepers.add(self)
            try:
                self.protection = worker.begin()
            except WorkerLost as lost:
                self._end()
                tried += 1
                if tried == TRIES:
                    raise NoWorker(f"a worker process could not be started: {lost}") from None
                continue
            return worker

    def _end(self) -> None:
        with _lock:
            worker, self._worker = self._worker, None
            _keepers.discard(self)
        if worker is not None:
            worker.close()

    def kill(self) -> None:
        """End the worker at once, from another thread; what reads from it then comes to its end."""
        with _lock:
            worker = self._worker
        if worker is not None:
            worker.kill()

    def close(self) -> None:
        """End the worker and let go of it, once the thread is not reading from it."""
        with self._busy:
            self._end()


_here = threading.local()
_lock = threading.Lock()
#: Those that have a worker, of all threads of this process; and the pools that are over.
_keepers: set[Keeper] = set()
_ended: set[str] = set()
