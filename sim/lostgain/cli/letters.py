"""Output to a terminal or pipe that lacks some characters: Ω as ohm, µ as u, rather than an error."""

from __future__ import annotations

import codecs
import os
import sys
from contextlib import suppress
from pathlib import Path

_PLAIN = {"Ω": "ohm", "µ": "u", "×": "x", "±": "+-", "−": "-", "–": "-", "—": "-", "…": "..", "½": "1/2", "²": "2",
          "“": '"', "”": '"', "’": "'", "∞": "inf"}  # fmt: skip


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_PLAIN.get(sign, "?") for sign in error.object[error.start : error.end]), error.end


def settle_output() -> None:
    """Make stdout and stderr write what they can, in the characters they have."""
    codecs.register_error("lostgain-plain", _plain)
    for name in ("stdout", "stderr"):  # closed before the start: what is said there goes nowhere
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError, OSError):  # a stream that a program put in its place
            stream.reconfigure(errors="lostgain-plain")  # type: ignore[union-attr]
