"""What a name and a designator may be, and which files a unit may reach. Both end up in netlists that are run."""

from __future__ import annotations

import re
import stat
from pathlib import Path, PureWindowsPath

#: Largest file that is read [bytes]. A unit described by hand has some tens of thousands.
LARGEST = 2_000_000

#: What a node of a netlist may be called where a unit file names one.
NODE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+#-]{0,59}", re.ASCII)

_DESIGNATOR = re.compile(r"[A-Z][A-Z0-9_]{0,15}")
_PUNCTUATION = frozenset(" -_.,:+()'#&")


def is_designator(text: str) -> bool:
    """Tell whether text, in either case, may be a designator or a rail's name: a letter, then letters and digits."""
    return text.isascii() and _DESIGNATOR.fullmatch(text.upper()) is not None


def name_fault(text: str) -> str:
    """Return what is wrong with the name of a stage, a channel or a test point; empty for a good one.

    Letters of any language, digits, spaces and ``-_.,:+()'#&`` are allowed; ``/`` divides a stage from its node.
    """
    if not text.strip():
        return "is empty"
    if text != text.strip():
        return "begins or ends with a space"
    if len(text) > 60:
        return "is longer than 60 characters"
    bad = sorted({letter for letter in text if not (letter.isalnum() or letter in _PUNCTUATION)})
    if bad:
        shown = " ".join(repr(letter)[1:-1] for letter in bad)
        return f"has {shown} in it; letters, digits, spaces and -_.,:+()'#& are allowed"
    return "" if any(letter.isalnum() for letter in text) else "has neither letter nor digit"


def inside(folder: Path, text: str) -> Path:
    """Return the path of a file of the unit's, written relative to its folder.

    Raises
    ------
    ValueError
        If it lies elsewhere, is reached through a link, is no plain file, or is too large; the message says which.
    """
    if not text or any(ord(letter) < 32 for letter in text):
        raise ValueError("is no file name")
    if text.startswith(("/", "\\", "~")) or PureWindowsPath(text).drive:
        raise ValueError("must be written relative to the unit's folder")
    steps = text.replace("\\", "/").split("/")
    if ".." in steps:
        raise ValueError("must lie in the unit's folder; '..' is not followed")
    path = folder
    for step in steps:
        path = path / step
        try:
            is_link = path.is_symlink()
        except OSError as error:  # a name too long for the system
            raise ValueError(f"can't be read: {error.strerror or error}") from None
        if is_link:
            raise ValueError("is reached through a link; put the file itself into the unit's folder")
    check_file(path)
    return path


def own_file(folder: Path, name: str) -> Path | None:
    """Return a file that a unit's folder may hold under a given name; None where it has none.

    Raises
    ------
    ValueError
        If it is a link, which could lead to anything.
    """
    path = folder / name
    if path.is_symlink():
        raise ValueError("is a link; put the file itself into the unit's folder")
    return path if path.exists() else None


def check_file(path: Path) -> None:
    """Raise ValueError, saying why, if that is no plain, readable file of sensible size."""
    try:
        found = path.stat()
    except FileNotFoundError:
        raise ValueError("doesn't exist") from None
    except (OSError, ValueError) as error:
        raise ValueError(f"can't be read: {getattr(error, 'strerror', None) or error}") from None
    if not stat.S_ISREG(found.st_mode):
        raise ValueError("is no plain file")
    if found.st_size > LARGEST:
        raise ValueError(f"has {found.st_size / 1e6:.1f} MB; at most {LARGEST / 1e6:.0f} MB are read")


def read_text(path: Path) -> str:
    """Return the text of a file.

    Raises
    ------
    ValueError
        If it is no plain file, too large, empty, or not UTF-8; the message says which.
    """
    check_file(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise ValueError(f"can't be read: {error.strerror or error}") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ValueError(
            f"is not UTF-8 text: line {line} has the byte 0x{raw[error.start]:02x}; save it as UTF-8 in the editor"
        ) from None
    if not text.strip():
        raise ValueError("is empty")
    return text
