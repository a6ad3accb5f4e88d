"""Work on a signature table, divided among processes."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import TypeVar

from lostgain.signatures import Table

Item = TypeVar("Item")
Found = TypeVar("Found")

_TABLE: Table | None = None
_WORK: Callable[..., object] | None = None


def spread(
    work: Callable[[Table, Item], Found], table: Table, items: Sequence[Item], workers: int,
    progress: Callable[[int, int], None], at_once: int = 1,
) -> list[Found]:  # fmt: skip
    """Return what a function at module level finds for each item, in their order.

    Parameters
    ----------
    work : function
        From the table and an item.
    table : Table
    items : sequence
    workers : int
    progress : callable
        Takes how many are done, and of how many.
    at_once : int
        Items given to a worker at a time: several where each is quick.
    """
    found: list[Found] = []
    context = get_context("fork" if sys.platform == "linux" else "spawn")
    with ProcessPoolExecutor(workers, context, _open, (table, work)) as pool:
        for count, each in enumerate(pool.map(_one, items, chunksize=at_once), 1):
            found.append(each)  # type: ignore[arg-type]
            progress(count, len(items))
    return found


def _open(table: Table, work: Callable[..., object]) -> None:
    global _TABLE, _WORK
    _TABLE, _WORK = table, work
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl-C ends a worker at once, and without a traceback of its own


def _one(item: object) -> object:
    assert _TABLE is not None
    assert _WORK is not None
    return _WORK(_TABLE, item)
