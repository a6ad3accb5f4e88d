"""Many simulations at once, in worker processes that may die or hang without harm to the rest."""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import tempfile
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from lostgain.engine import library
from lostgain.engine.errors import EngineError
from lostgain.engine.process import Worker, WorkerLost

Task = Callable[[Any, Any], Any]
Progress = Callable[[int, int], None]

#: Most items sent to a worker at a time, so that the talk costs little beside items of a millisecond.
BATCH = 16

#: How often an item is tried when its worker dies or hangs.
TRIES = 2


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


@dataclass
class _Work:
    """One call of `Pool.imap`: items waiting, and where results go."""

    name: tuple[str, str]
    waiting: deque[tuple[int, Any, int]]  # index, item, times tried
    share: int
    results: queue.SimpleQueue[tuple[int, Outcome] | BaseException]
    stopped: bool = False

    def take(self) -> list[tuple[int, Any, int]]:
        """Take the next items: many while plenty wait, one by one near the end; one alone if its worker died before."""
        batch: list[tuple[int, Any, int]] = []
        many = max(1, min(BATCH, len(self.waiting) // self.share))
        with contextlib.suppress(IndexError):
            while len(batch) < many and not self.stopped:
                item = self.waiting.popleft()
                if item[2] and batch:
                    self.waiting.appendleft(item)
                    break
                batch.append(item)
                if item[2]:
                    break
        return batch


class Pool:
    """Worker processes, each with an ngspice of its own and watched by a thread.

    Parameters
    ----------
    workers : int or None
        How many; None for one a processor.
    time_limit : float
        Longest time one item may take [s]. A worker over it is killed and replaced.

    Notes
    -----
    To be used in a ``with`` block; leaving it, by whatever way, ends every worker. Workers start when there is work.
    """

    def __init__(self, workers: int | None = None, time_limit: float = 60.0) -> None:
        if workers is not None and workers < 1:
            raise ValueError("a pool needs at least one worker")
        if not time_limit > 0:
            raise ValueError("the time limit must be positive")
        self.workers = workers or os.cpu_count() or 1
        self.time_limit = time_limit
        self.protection: tuple[str, ...] = ()
        self._inboxes: list[queue.SimpleQueue[_Work | None]] = []
        self._threads: list[threading.Thread] = []
        self._alive: set[Worker] = set()
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._scratch: tempfile.TemporaryDirectory[str] | None = None
        self._started = 0

    def __enter__(self) -> Pool:
        library.find()  # a missing library is the user's to mend, and is said here rather than by every worker
        self._scratch = tempfile.TemporaryDirectory(prefix="lostgain-", ignore_cleanup_errors=True)
        self._closed.clear()
        threading.Thread(target=self._watch, daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._closed.set()
        with self._lock:
            alive = list(self._alive)
        for worker in alive:
            worker.kill()
        for inbox in self._inboxes:
            inbox.put(None)
        for thread in self._threads:
            thread.join(timeout=5)
        self._inboxes.clear()
        self._threads.clear()
        if self._scratch is not None:
            self._scratch.cleanup()
            self._scratch = None

    def map(self, task: Task, items: Iterable[Any], progress: Progress | None = None) -> list[Outcome]:
        """Do a task for every item.

        Parameters
        ----------
        task : callable
            ``task(session, item)``, a function at module level; it runs in a worker.
        items : iterable
            What is sent to it; has to be picklable.
        progress : callable, optional
            Called with ``(done, total)`` in this thread after each item.

        Returns
        -------
        list of Outcome
            In the order of `items`. A simulation that failed is an outcome with an `error`.

        Raises
        ------
        UserError
            As raised by the task, or if the workers cannot start.
        Exception
            Any other exception of a task is a mistake in it, and is raised here with the worker's traceback as a note.
        """
        everything = list(items)
        outcomes: list[Outcome] = [Outcome()] * len(everything)
        for done, (index, outcome) in enumerate(self.imap(task, everything), start=1):
            outcomes[index] = outcome
            if progress is not None:
                progress(done, len(everything))
        return outcomes

    def imap(self, task: Task, items: Iterable[Any]) -> Iterator[tuple[int, Outcome]]:
        """Do a task for every item, and yield ``(index, outcome)`` as they come. See `map`."""
        name = _name(task)
        everything = list(items)
        threads = self._threads_for(len(everything))
        work = _Work(
            name, deque((index, item, 0) for index, item in enumerate(everything)), 3 * threads + 1, queue.SimpleQueue()
        )
        for inbox in self._inboxes[:threads]:
            inbox.put(work)
        try:
            for _ in everything:
                result = work.results.get()
                if isinstance(result, BaseException):
                    raise result
                yield result
        finally:
            work.stopped = True

    def _threads_for(self, items: int) -> int:
        if self._scratch is None:
            raise RuntimeError("a pool is used in a with block")
        needed = min(self.workers, items)
        while len(self._threads) < needed:
            inbox: queue.SimpleQueue[_Work | None] = queue.SimpleQueue()
            thread = threading.Thread(target=self._supervise, args=(inbox,), daemon=True)
            self._inboxes.append(inbox)
            self._threads.append(thread)
            thread.start()
        return needed

    def _watch(self) -> None:
        """Kill workers that are over time, until the pool closes."""
        while not self._closed.wait(min(0.1, self.time_limit / 4)):
            with self._lock:
                late = [worker for worker in self._alive if worker.late()]
            for worker in late:
                worker.kill()

    def _supervise(self, inbox: queue.SimpleQueue[_Work | None]) -> None:
        """Keep one worker at work: a thread's whole life.

        The worker is started by this thread, since Linux kills it when the thread that started it ends.
        """
        worker: Worker | None = None
        try:
            while (work := inbox.get()) is not None:
                try:
                    while batch := work.take():
                        if worker is None:
                            worker = self._start()
                        worker = self._do(worker, work, batch)
                except BaseException as trouble:
                    work.stopped = True
                    work.results.put(trouble)
                    self._end(worker)
                    worker = None
        finally:
            self._end(worker)

    def _start(self) -> Worker:
        assert self._scratch is not None
        with self._lock:
            if self._closed.is_set():
                raise WorkerLost("the pool is closed")
            self._started += 1
            scratch = Path(self._scratch.name) / str(self._started)
            scratch.mkdir()
            worker = Worker(scratch, self.time_limit)
            self._alive.add(worker)
        try:
            self.protection = worker.begin()
        except BaseException:
            self._end(worker)
            raise
        return worker

    def _end(self, worker: Worker | None) -> None:
        if worker is not None:
            worker.close()
            with self._lock:
                self._alive.discard(worker)

    def _do(self, worker: Worker, work: _Work, batch: list[tuple[int, Any, int]]) -> Worker | None:
        """Do a batch; return the worker if it can go on.

        Items that a lost worker had not begun are put back untouched, the one it was lost at with a try used up.
        """
        done = 0
        try:
            worker.ask(work.name, [item for _, item, _ in batch])
            for index, _, _ in batch:
                happened, value, trace, dead = worker.answer()
                done += 1
                if happened == "raised":
                    if trace and sys.version_info >= (3, 11):
                        value.add_note(trace)
                    raise value
                if happened == "failed":
                    failure: EngineError = value
                    work.results.put((index, Outcome(None, failure.reason, failure.said)))
                else:
                    work.results.put((index, Outcome(value)))
                if dead:
                    break
        except WorkerLost as lost:
            if self._closed.is_set():
                raise
            index, item, tried = batch[done]
            done += 1
            if tried + 1 < TRIES:
                work.waiting.appendleft((index, item, tried + 1))
            else:
                work.results.put((index, Outcome(None, str(lost))))
            dead = True
        work.waiting.extendleft(reversed(batch[done:]))
        if dead:
            self._end(worker)
            return None
        return worker


def _name(task: Task) -> tuple[str, str]:
    """Return module and name by which a worker finds a task."""
    module, name = getattr(task, "__module__", None), getattr(task, "__qualname__", "")
    if not module or module == "__main__" or "<" in name or not name:
        raise TypeError(f"a task is a function at the level of a module that can be imported, not {task!r}")
    return module, name
