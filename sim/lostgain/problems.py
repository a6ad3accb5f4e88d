"""What went wrong, said about the user's own file, line and word."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

#: Longest message that is printed [characters].
LONGEST = 1000


@dataclass(frozen=True)
class Where:
    """A place in a file of the user's.

    Parameters
    ----------
    file : Path or None
        The file, or None for a word typed on the command line.
    line : int or None
        Line number counted from 1, or None where no single line is meant.
    """

    file: Path | None = None
    line: int | None = None

    def __str__(self) -> str:
        if self.file is None:
            return "command line"
        if self.line is None:
            return str(self.file)
        return f"{self.file}, line {self.line}"


@dataclass(frozen=True)
class Problem:
    """One mistake.

    Parameters
    ----------
    message : str
        What is wrong, naming the user's own word.
    where : Where
        File and line.
    meant : str
        The likely meaning or the nearest right spelling; empty if there is no good guess.
    """

    message: str
    where: Where = Where()
    meant: str = ""

    def __str__(self) -> str:
        tail = f" {self.meant}" if self.meant else ""
        return f"{self.where}: {_short(self.message)}{tail}"


class UserError(Exception):
    """Raised for anything the user can mend; the command line prints it and exits with code 2.

    Parameters
    ----------
    problems : sequence of Problem, or str
        Every mistake found, in the order of the file.
    """

    def __init__(self, problems: Sequence[Problem] | Problem | str) -> None:
        if isinstance(problems, str):
            problems = [Problem(problems)]
        elif isinstance(problems, Problem):
            problems = [problems]
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[UserError], tuple[tuple[Problem, ...]]]:
        """Keep files and lines on the way from a worker process."""
        return UserError, (self.problems,)


def _short(message: str) -> str:
    """Return a message in which what the user wrote without a blank, and all of it, is cut to what can be read."""
    cut = re.sub(r"\S{81,}", lambda word: f"{word[0][:60]}…", message)
    return cut if len(cut) <= LONGEST else f"{cut[:LONGEST]}…"


def nearest(word: str, known: Iterable[str], lead: str = "Did you mean") -> str:
    """Return a sentence with the nearest known spelling, or what is known, or nothing.

    Parameters
    ----------
    word : str
        What the user typed.
    known : iterable of str
        What could have been meant.
    lead : str
        How the sentence starts.

    Returns
    -------
    str
        ``Did you mean R14?``, or ``Known: a, b, c.`` for up to 8 names, or an empty string.
    """
    names = sorted({str(name) for name in known})
    by_lower = {name.lower(): name for name in names}
    close = difflib.get_close_matches(word.lower(), list(by_lower), n=2, cutoff=0.6)
    if close:
        return f"{lead} {' or '.join(by_lower[name] for name in close)}?"
    if 0 < len(names) <= 8:
        return f"Known: {', '.join(names)}."
    return ""


class NoWorker(RuntimeError):
    """A worker process did not start, however often it was tried: the machine is too busy, or its memory is full."""
