"""The tolerance draws of a row that have to be followed in time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, RunFailed, Session
from lostgain.signatures.cycle import decibels
from lostgain.signatures.follow import RINGING, RINGS_DB, SOLVER, soon
from lostgain.signatures.row import RowResult
from lostgain.signatures.row_draws import load
from lostgain.signatures.row_keep import keep, raise_if_dead
from lostgain.signatures.states import Steady
from lostgain.signatures.steady import nearby, steady

Values = NDArray[np.float64]

#: Draws that are followed for long where slow capacitors have to charge: each ends somewhere else.
DRIFT_DRAWS = 4


def slow_draws(
    session: Session,
    flats: Sequence[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    ended: Mapping[int, Steady],
    rest: Sequence[Values | None],
) -> int:
    """Follow draws in time where small-signal analysis is not confirmed; return how many transients gave no result.

    Parameters
    ----------
    session, flats, circuit, result
    ended : mapping
        Frequency's number to where nominal values ended, with its state less its operating point [V, A].
    rest : sequence of array or None
        Each draw's operating point, by state [V, A]; None where there is none.
    """
    missed = 0
    for index, nominal in ended.items():
        draws = _Draws(session, circuit, index, nominal)
        for number, (flat, dc) in enumerate(zip(flats, rest, strict=False), 1):
            if dc is None or (nominal.drifted and number > DRIFT_DRAWS):
                continue
            try:
                found = draws.follow(flat, dc)
            except EngineError as error:
                raise_if_dead(session, error)
                missed += 1
                continue
            keep(result, number, index, found)
    return missed


class _Draws:
    """The draws of a row at one frequency, each followed for as long as the first ones told.

    A draw starts where nominal values ended, about its own operating point: so it is settled at once, or nearly. Where
    slow capacitors had to charge it is not, and is followed until it is. Where the first draw does as well from its
    operating point itself, the others start there: that is where nothing is stirred up, and nothing has to be loaded.
    """

    def __init__(self, session: Session, circuit: Circuit, index: int, nominal: Steady) -> None:
        self.session = session
        self.nominal = nominal
        setup = circuit.unit.setup
        self.drive, self.dc = setup.generator, setup.start_dc
        self.frequency = setup.frequencies[index]
        self.nodes = list(circuit.points.values())
        self._cycles: Sequence[int] = ()
        self._soon = False
        self._before: FlatCircuit | None = None

    def follow(self, flat: FlatCircuit, dc: Values) -> Steady:
        """Follow a draw that has such an operating point."""
        given = self.session, flat, self.drive, self.frequency, self.dc, self.nodes, dc + self.nominal.state
        if self.nominal.drifted:
            return steady(*given, slopes=self.nominal.slopes)
        if self._soon:
            try:
                return self._from_rest(flat)
            except RunFailed:
                if self.session.dead:
                    raise
        self._before = None
        found = _until_settled(partial(nearby, *given), self._cycles or (2, *RINGING))
        if not self._cycles:
            rings = found.cycles != 2
            self._cycles = RINGING if rings else (1,)
            self._soon = not rings and self._same(flat, found)
        return found

    def _same(self, flat: FlatCircuit, found: Steady) -> bool:
        """Tell whether a draw is as well followed from its operating point."""
        try:
            other = self._from_rest(flat)
        except RunFailed:
            if self.session.dead:
                raise
            self._before = None
            return False
        apart = decibels(other.level, found.level), decibels(other.swing / 8**0.5, found.swing / 8**0.5)
        return float(np.abs(apart).max(initial=0.0)) < RINGS_DB

    def _from_rest(self, flat: FlatCircuit) -> Steady:
        flat = driven(flat, self.drive, self.frequency, self.dc)
        load(self.session, flat, self._before, SOLVER)
        self._before = flat
        return soon(self.session, 1 / self.frequency, self.nodes)


def _until_settled(follow: Callable[[int], Steady], counts: Sequence[int]) -> Steady:
    """Follow a draw for the first of some numbers of cycles after which it has settled, or for the last of them."""
    found = follow(counts[0])
    for count in counts[1:]:
        if found.settled:
            break
        found = follow(count)
    return found
