"""A worker process: one ngspice, locked up, that does the tasks it is sent.

Started as ``python -m lostgain.engine.worker SCRATCH LIMIT`` by `pool`; nobody else needs to.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from lostgain.engine import sandbox, wire
from lostgain.engine.errors import CircuitRefused, RunFailed
from lostgain.engine.session import Session
from lostgain.problems import UserError


def main() -> None:
    """Do tasks until the pool hangs up."""
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
    functions: dict[tuple[str, str], Callable[[Session, Any], Any]] = {}
    while True:
        try:
            name, items = wire.receive(source)
        except EOFError:
            return
        for item in items:
            sandbox.allow_cpu(limit)
            reply = _do(functions, name, session, item)
            try:
                wire.send(sink, (*reply, session.dead))
            except OSError:
                return
            except Exception as trouble:  # a result that cannot be pickled is the task's mistake
                wire.send(sink, ("raised", RuntimeError(f"the result cannot be sent: {trouble}"), "", session.dead))
            if session.dead:
                return


def _take_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Move the pipes off 0 and 1, where ngspice's own printing would get into the talk."""
    source, sink = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    os.dup2(nowhere, 1)
    return source, sink


def _do(
    functions: dict[tuple[str, str], Callable[[Session, Any], Any]],
    name: tuple[str, str],
    session: Session,
    item: Any,
) -> tuple[str, Any, str]:
    """Do one task: ``(what happened, value, traceback)``."""
    try:
        if name not in functions:
            found: Any = importlib.import_module(name[0])
            for part in name[1].split("."):
                found = getattr(found, part)
            functions[name] = found
        return "done", functions[name](session, item), ""
    except (RunFailed, CircuitRefused) as failure:
        return "failed", failure, ""
    except Exception as trouble:
        return "raised", trouble, traceback.format_exc()


if __name__ == "__main__":
    main()
