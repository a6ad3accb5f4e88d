"""Where the processor's time of a row goes: to small-signal analyses or to transients."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from typing import Any

from lostgain.engine import Session

SMALL, TRANSIENT = "small_signal", "transient"


class TimedSession(Session):
    """A session that keeps account of processor time.

    What was done since the analysis before (putting a circuit together, loading it, sums over the result) is charged to
    the analysis it ends in; what comes after the last one, to that.

    Attributes
    ----------
    spent : dict
        Of `SMALL` and `TRANSIENT` [s].
    """

    def __init__(self) -> None:
        super().__init__()
        self.spent = {SMALL: 0.0, TRANSIENT: 0.0}
        self._kind = SMALL
        self._mark = time.process_time()

    def begin(self) -> None:
        """Start the account anew."""
        self.spent = {SMALL: 0.0, TRANSIENT: 0.0}
        self._kind = SMALL
        self._mark = time.process_time()

    def end(self) -> dict[str, float]:
        """Close the account and return it."""
        self._charge(self._kind)
        return self.spent

    def _charge(self, kind: str) -> None:
        now = time.process_time()
        self.spent[kind] += now - self._mark
        self._kind, self._mark = kind, now

    def op(self, nodes: Sequence[str]) -> Any:
        """See `Session.op`."""
        try:
            return super().op(nodes)
        finally:
            self._charge(SMALL)

    def ac(self, frequencies: Sequence[float], nodes: Sequence[str]) -> Any:
        """See `Session.ac`."""
        try:
            return super().ac(frequencies, nodes)
        finally:
            self._charge(SMALL)

    def sweep(self, start: float, stop: float, per_decade: int, nodes: Sequence[str]) -> Any:
        """See `Session.sweep`."""
        try:
            return super().sweep(start, stop, per_decade, nodes)
        finally:
            self._charge(SMALL)

    def tran(self, *given: Any, **named: Any) -> Any:
        """See `Session.tran`."""
        try:
            return super().tran(*given, **named)
        finally:
            self._charge(TRANSIENT)


def added(accounts: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Return the sum of several accounts, with the whole."""
    found = {kind: sum(each[kind] for each in accounts) for kind in (SMALL, TRANSIENT)}
    return {**found, "whole": sum(found.values())}
