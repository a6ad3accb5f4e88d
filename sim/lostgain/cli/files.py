"""Files that a command writes: a place that cannot be written is the user's to mend."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from lostgain.problems import Problem, UserError, Where


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Say on stderr what was written, or raise `UserError` where it cannot be."""
    try:
        yield
    except OSError as error:
        raise UserError(Problem(f"cannot be written: {error.strerror or error}.", Where(path))) from error
    written([path])


def written(paths: Iterable[Path]) -> None:
    """Say on stderr what was written."""
    for path in paths:
        print(f"Written: {path}", file=sys.stderr)
