"""A worker process: one ngspice, locked up, that does the tasks it is sent.

Started as ``python -m lostgain.engine.worker SCRATCH LIMIT`` by `process`; nobody else needs to.
"""

from __future__ import annotations

import importlib
import os
import pickle
import signal
import sys
import traceback
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, cast

from lostgain.engine import sandbox, wire
from lostgain.engine.errors import CircuitRefused, RunFailed
from lostgain.engine.session import Session
from lostgain.problems import UserError

#: A worker without work for so long ends by itself: whoever kept it may be far away and gone [s].
IDLE = 60.0


def main() -> None:
    """Do tasks until nobody has any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to answer
    scratch, limit = Path(sys.argv[1]), float(sys.argv[2])
    sandbox.die_with_parent()
    source, sink = _take_pipes()
    sandbox.move_into(scratch)
    try:
        session = Session()
    except UserError as problem:
        wire.send(sink, ("failed", problem))
        return
    wire.send(sink, ("ready", sandbox.lock(scratch)))
    functions: dict[tuple[str, str], Callable[..., Any]] = {}
    common: Any = None
    while not session.dead:
        try:
            name, body, has_common, item = wire.receive(source, IDLE)
        except (EOFError, TimeoutError):
            return
        sandbox.allow_cpu(limit)
        if body is not None:
            common = pickle.loads(zlib.decompress(body))
        reply = _do(functions, name, (session, common, item) if has_common else (session, item))
        try:
            wire.send(sink, (*reply, session.dead))
        except OSError:
            return
        except Exception as trouble:  # a result that cannot be pickled is the task's mistake
            wire.send(sink, ("raised", RuntimeError(f"the result cannot be sent: {trouble}"), "", session.dead))


def _take_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Move the pipes off 0 and 1, where ngspice's own printing would get into the talk."""
    source, sink = os.fdopen(os.dup(0), "rb", 0), os.fdopen(os.dup(1), "wb", 0)
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    os.dup2(nowhere, 1)
    return cast(BinaryIO, source), cast(BinaryIO, sink)


def _do(
    functions: dict[tuple[str, str], Callable[..., Any]], name: tuple[str, str], given: tuple[Any, ...]
) -> tuple[str, Any, str]:
    """Do one task: ``(what happened, value, traceback)``."""
    try:
        if name not in functions:
            found: Any = importlib.import_module(name[0])
            for part in name[1].split("."):
                found = getattr(found, part)
            functions[name] = found
        return "done", functions[name](*given), ""
    except (RunFailed, CircuitRefused) as failure:
        return "failed", failure, ""
    except MemoryError:  # the limit that `sandbox` sets; where ngspice meets it, it ends the process
        return "failed", RunFailed("the simulation needs more memory than it may have"), ""
    except Exception as trouble:
        return "raised", trouble, traceback.format_exc()


if __name__ == "__main__":
    main()
