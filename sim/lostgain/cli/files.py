"""Files that a command writes: a place that cannot be written is the user's to mend."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from lostgain.problems import Problem, UserError, Where

#: What the name of a page ends in.
PAGES = (".html", ".htm")


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Say on stderr what was written, or raise `UserError` where it cannot be."""
    try:
        yield
    except OSError as error:
        raise UserError(Problem(f"cannot be written: {error.strerror or error}.", Where(path))) from error
    written([path])


def folder_to_write(folder: Path) -> None:
    """Make a folder that something will be written into, so that a place that can't be is told before the work is done.

    Raises
    ------
    UserError
        If it can't be made, or nothing can be written there.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except (OSError, ValueError) as error:
        reason = "a file of that name is there" if isinstance(error, FileExistsError) else _reason(error)
        raise UserError(Problem(f"this folder cannot be made or written to: {reason}.", Where(folder))) from error


def file_to_read(path: Path) -> None:
    """Tell before the work is done that there is a folder where a file is wanted.

    Raises
    ------
    UserError
    """
    if path.is_dir():
        raise UserError(Problem("this is a folder; the name of a file is wanted.", Where(path)))


def file_to_write(path: Path, *suffixes: str) -> None:
    """Tell before the work is done that a file can't be written.

    Parameters
    ----------
    path : Path
    suffixes : str
        What its name may end in, ``.html``; anything where none is given.

    Raises
    ------
    UserError
        If it is a folder, its name ends in something else, or nothing can be written where it would lie.
    """
    if suffixes and path.suffix.lower() not in suffixes and not path.is_dir():
        raise UserError(Problem(f"the name of this file should end in {suffixes[0]}.", Where(path)))
    try:
        if path.is_dir():
            raise UserError(Problem("this is a folder; the name of a file is wanted.", Where(path)))
        if not path.exists():
            with tempfile.TemporaryFile(dir=path.parent):
                pass
        elif not os.access(path, os.W_OK):
            raise UserError(Problem("this file may not be written.", Where(path)))
    except (OSError, ValueError) as error:
        raise UserError(Problem(f"cannot be written: {_reason(error)}.", Where(path))) from error


def _reason(error: OSError | ValueError) -> str:
    return getattr(error, "strerror", None) or str(error)


def written(paths: Iterable[Path]) -> None:
    """Say on stderr what was written."""
    for path in paths:
        print(f"Written: {path}", file=sys.stderr)
