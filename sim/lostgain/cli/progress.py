"""What is shown on stderr while something takes its time: a line kept up to date, or one now and then in a pipe."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

#: Nothing is shown before this has passed [s].
QUIET = 2.0
#: In a pipe, a line after so many seconds.
PIPED = 15.0
#: The time left is not foretold before so many are done, and so much time has passed [s].
SOME, SOON = 10, 8.0


class Line:
    """Shows how far something is.

    Parameters
    ----------
    what : str
        ``Simulating faults``
    """

    def __init__(self, what: str) -> None:
        self.what = what
        self.begun = time.monotonic()
        self._live = sys.stderr.isatty()
        self._said = 0.0
        self._shown = 0
        self._lock = threading.Lock()
        self._counts = (0, 0)
        self._before: int | None = None
        self._first = self.begun

    def __call__(self, done: int, total: int) -> None:
        """Take how many of how many are done, and show it when it is time."""
        if self._before is None:  # of a build that goes on, what an earlier run did says nothing of the time left
            self._before, self._first = max(0, done - 1), time.monotonic()
        self._counts = (done, total)
        self.tick()

    def tick(self) -> None:
        """Show how far it is, if that is due."""
        passed = time.monotonic() - self.begun
        with self._lock:
            if passed < QUIET or (self._said and passed - self._said < (0.2 if self._live else PIPED)):
                return
            self._said = passed
            text = f"{self.what} … {self._state(passed)}".rstrip()
            if self._live:
                sys.stderr.write("\r" + text.ljust(self._shown))
                self._shown = len(text)
            else:
                sys.stderr.write(text + "\n")
            sys.stderr.flush()

    def _state(self, passed: float) -> str:
        done, total = self._counts
        if not total:
            return f"{passed:.0f} s" if self._live else ""
        spent, mine = time.monotonic() - self._first, done - (self._before or 0) - 1
        if mine < SOME or spent < SOON:  # the first few may take far longer than the rest
            return f"{done} of {total}"
        left = (total - done) * spent / mine
        return f"{done} of {total}, {_time(left)} left"

    def end(self) -> None:
        """Leave the line clean for what follows."""
        with self._lock:
            if self._live and self._shown:
                sys.stderr.write("\r" + " " * self._shown + "\r")
                sys.stderr.flush()
                self._shown = 0


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


@contextmanager
def shown(what: str) -> Iterator[Line]:
    """Show that something is going on, for as long as the block takes; yields what can be told how far it is."""
    line = Line(what)
    over = threading.Event()

    def keep_alive() -> None:
        while not over.wait(0.5):
            line.tick()

    thread = threading.Thread(target=keep_alive, daemon=True)
    thread.start()
    try:
        yield line
    finally:
        over.set()
        thread.join()
        line.end()
