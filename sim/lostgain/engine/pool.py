"""Many simulations at once, in worker processes that may die or hang without harm to the rest."""

from __future__ import annotations

import hashlib
import os
import pickle
import queue
import uuid
import zlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from types import TracebackType
from typing import Any

from lostgain.engine import library
from lostgain.engine.supervise import TRIES, Batch, Outcome, Returned, end, supervised
from lostgain.problems import UserError

Task = Callable[..., Any]
Progress = Callable[[int, int], None]
Numbered = tuple[tuple[int, Any], ...]

#: Most items in a batch, so that the talk costs little beside items of a millisecond.
BATCH = 16
#: What executors raise for a batch that took several of their processes with it, by the name of the class: Dask's.
LOSES = {"KilledWorker"}


class Pool:
    """Worker processes, each with an ngspice of its own, looked after by the threads of an executor.

    Parameters
    ----------
    workers : int or None
        How many; None for one a processor.
    time_limit : float
        Longest time one item may take [s]. A worker over it is killed and replaced.
    executor : concurrent.futures.Executor or None
        Who hands out the work: threads of this process if None, else anything with that interface, on other machines
        if need be. Each of its threads or processes keeps a worker process of its own, see `supervise`.
    tries : int
        How often an item is tried when its worker dies or is over the time limit.

    Notes
    -----
    To be used in a ``with`` block; leaving it, by whatever way, ends every worker of this process at once. They start
    when there is work; one that is elsewhere, or has had no work for a while, ends by itself.
    """

    def __init__(
        self, workers: int | None = None, time_limit: float = 60.0, executor: Executor | None = None, tries: int = TRIES
    ) -> None:
        if workers is not None and workers < 1:
            raise ValueError("a pool needs at least one worker")
        if not time_limit > 0:
            raise ValueError("the time limit must be positive")
        if tries < 1:
            raise ValueError("an item has to be tried at least once")
        self.workers = workers or os.cpu_count() or 1
        self.time_limit = time_limit
        self.tries = tries
        self.protection: tuple[str, ...] = ()
        self._given = executor
        self._executor: Executor | None = None
        self._name = ""

    def __enter__(self) -> Pool:
        self._name = uuid.uuid4().hex
        if self._given is None:
            library.find()  # a missing library is the user's to mend, and is said here rather than by every worker
        self._executor = self._given or ThreadPoolExecutor(self.workers, "lostgain-worker")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        executor, self._executor = self._executor, None
        if self._given is None and executor is not None:
            executor.shutdown(wait=False, cancel_futures=True)
        end(self._name)
        if self._given is None and executor is not None:
            executor.shutdown()

    def map(
        self, task: Task, items: Iterable[Any], progress: Progress | None = None, common: Any = None
    ) -> list[Outcome]:
        """Do a task for every item.

        Parameters
        ----------
        task : callable
            ``task(session, item)``, or ``task(session, common, item)`` where something is common; a function at module
            level; it runs in a worker.
        items : iterable
            What is sent to it; has to be picklable.
        progress : callable, optional
            Called with ``(done, total)`` in this thread after each item.
        common : object, optional
            What is the same for all items, and is sent to each worker once.

        Returns
        -------
        list of Outcome
            In the order of `items`. A simulation that failed is an outcome with an `error`.

        Raises
        ------
        UserError
            As raised by the task, if the workers cannot start, or if the executor is gone.
        Exception
            Any other exception of a task is a mistake in it, and is raised here with the worker's traceback as a note.
        """
        everything = list(items)
        outcomes: list[Outcome] = [Outcome()] * len(everything)
        for done, (index, outcome) in enumerate(self.imap(task, everything, common), start=1):
            outcomes[index] = outcome
            if progress is not None:
                progress(done, len(everything))
        return outcomes

    def imap(self, task: Task, items: Iterable[Any], common: Any = None) -> Iterator[tuple[int, Outcome]]:
        """Do a task for every item, and yield ``(index, outcome)`` as they come. See `map`."""
        if self._executor is None:
            raise RuntimeError("a pool is used in a with block")
        everything = tuple(enumerate(items))
        size = max(1, min(BATCH, len(everything) // (4 * self.workers)))
        work = _Work(self._executor, Batch(self._name, self.time_limit, _name(task), _packed(common), (), self.tries))
        try:
            for start in range(0, len(everything), size):
                work.hand_out(everything[start : start + size])
            while work.out:
                returned = work.next()
                self.protection = returned.protection or self.protection
                if returned.mistake is not None:
                    raise returned.mistake
                half = -(-len(returned.left) // 2)
                work.hand_out(returned.left[:half])
                work.hand_out(returned.left[half:])
                yield from returned.done
        finally:
            for future in work.out:
                future.cancel()


class _Work:
    """The batches that are out with an executor."""

    def __init__(self, executor: Executor, like: Batch) -> None:
        self.out: dict[Future[Returned], Numbered] = {}
        self._executor = executor
        self._like = like
        self._back: queue.SimpleQueue[Future[Returned]] = queue.SimpleQueue()

    def hand_out(self, items: Numbered) -> None:
        """Give the executor a batch."""
        if not items:
            return
        like = self._like
        batch = replace(like, items=items)
        try:
            future = self._executor.submit(supervised, batch)
        except RuntimeError as error:  # broken or shut down
            raise _gone(error) from error
        self.out[future] = items
        future.add_done_callback(self._back.put)

    def next(self) -> Returned:
        """Wait for a batch that is back. One that the executor itself lost is given to it again, item by item."""
        future = self._back.get()
        items = self.out.pop(future)
        try:
            return future.result()
        except (CancelledError, BrokenExecutor) as error:
            raise _gone(error) from error
        except Exception as error:
            if type(error).__name__ not in LOSES:
                raise UserError(f"the workers cannot do their work: {type(error).__name__}: {error}") from error
            if len(items) > 1:  # one of them did it: each by itself
                for item in items:
                    self.hand_out((item,))
                return Returned()
            return Returned([(items[0][0], Outcome(None, "it ended every process that tried to simulate it"))])


class WorkersGone(UserError):
    """The executor ended, or cannot be reached any more."""


def _gone(error: BaseException) -> WorkersGone:
    what = str(error) or type(error).__name__
    return WorkersGone(f"the workers are gone, or cannot be reached any more ({what}).")


def _packed(common: Any) -> tuple[str, bytes] | None:
    """Return what is common to all items as it is sent, with its digest."""
    if common is None:
        return None
    body = zlib.compress(pickle.dumps(common, protocol=pickle.HIGHEST_PROTOCOL), 1)
    return hashlib.sha256(body).hexdigest(), body


def _name(task: Task) -> tuple[str, str]:
    """Return module and name by which a worker finds a task."""
    module, name = getattr(task, "__module__", None), getattr(task, "__qualname__", "")
    if not module or module == "__main__" or "<" in name or not name:
        raise TypeError(f"a task is a function at the level of a module that can be imported, not {task!r}")
    return module, name
