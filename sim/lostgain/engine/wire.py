"""How a supervisor and its worker speak: length-prefixed pickles on a pipe of their own."""

from __future__ import annotations

import pickle
import select
import struct
from typing import Any, BinaryIO

_LENGTH = struct.Struct("<Q")


def send(pipe: BinaryIO, message: Any) -> None:
    """Write one message.

    Raises
    ------
    OSError
        If nobody reads any more.
    """
    body = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    rest = memoryview(_LENGTH.pack(len(body)) + body)
    while rest:
        rest = rest[pipe.write(rest) :]


def receive(pipe: BinaryIO, limit: float | None = None) -> Any:
    """Read one message.

    Parameters
    ----------
    pipe : file
        Without a buffer: what waits in one would not show as something to read.
    limit : float or None
        How long to wait for its beginning [s]; None for ever.

    Raises
    ------
    EOFError
        If the other side is gone.
    TimeoutError
        If nothing came in time.
    """
    if limit is not None:
        waiting = select.poll()
        waiting.register(pipe, select.POLLIN)
        if not waiting.poll(1000 * min(limit, 1e6)):
            raise TimeoutError
    (size,) = _LENGTH.unpack(_exactly(pipe, _LENGTH.size))
    return pickle.loads(_exactly(pipe, size))


def _exactly(pipe: BinaryIO, size: int) -> bytes:
    parts: list[bytes] = []
    while size:
        part = pipe.read(size)
        if not part:
            raise EOFError
        parts.append(part)
        size -= len(part)
    return b"".join(parts)
