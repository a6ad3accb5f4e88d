"""How the pool and its workers speak: length-prefixed pickles on a pipe of their own."""

from __future__ import annotations

import pickle
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
    pipe.write(_LENGTH.pack(len(body)) + body)
    pipe.flush()


def receive(pipe: BinaryIO) -> Any:
    """Read one message.

    Raises
    ------
    EOFError
        If the other side is gone.
    """
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        raise EOFError
    (size,) = _LENGTH.unpack(head)
    body = pipe.read(size)
    if len(body) < size:
        raise EOFError
    return pickle.loads(body)
