"""The tolerance draws of a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Session
from lostgain.signatures.cycle import QUIET
from lostgain.signatures.follow import Steady
from lostgain.signatures.row import RowResult
from lostgain.signatures.row_keep import keep, keep_common, keep_dc, raise_if_dead
from lostgain.signatures.steady import nearby, steady

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Draws that are followed for long where slow capacitors have to charge: each ends somewhere else.
DRIFT_DRAWS = 4


def small_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    small: Complex,
    every: Sequence[str],
) -> list[Values | None]:
    """Fill in the draws where small-signal analysis is confirmed; return each one's DC at `every`, None for none."""
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    confirmed = result.small_signal
    # Shape and the last tenth of a decibel are the transient's; they change little from draw to draw.
    heard = (np.abs(small) > QUIET) & (result.level[0] > QUIET)
    one = np.ones(small.shape)
    size = np.divide(result.level[0], np.abs(small), out=one.copy(), where=heard)
    shape = np.divide(result.swing[0], result.level[0], out=one * (2 * 2**0.5), where=heard)
    turn = np.divide(result.phasor[0], small, out=one.astype(complex), where=heard)
    rest: list[Values | None] = []
    before: FlatCircuit | None = None
    for number, flat in enumerate(flats, 1):
        flat = driven(flat, setup.generator, setup.frequencies[0], setup.start_dc)
        try:
            _load(session, flat, before)
            before = flat
            rest.append(keep_dc(session, flat, circuit, result, number, every))
            phasor = session.ac(setup.frequencies, nodes)
            keep_common(session, circuit, result, number)
        except EngineError as error:
            raise_if_dead(session, error)
            before = None
            rest[number - 1 :] = [None]
            continue
        level = np.abs(phasor) * size
        result.level[number][:, confirmed] = level[:, confirmed]
        result.swing[number][:, confirmed] = (level * shape)[:, confirmed]
        result.phasor[number][:, confirmed] = (phasor * turn)[:, confirmed]
    return rest


def _load(session: Session, flat: FlatCircuit, before: FlatCircuit | None) -> None:
    """Put a circuit into ngspice: by changing numbers of the one before, where that is all that differs."""
    changes = flat.changes_from(before) if before is not None else None
    if changes is not None:
        try:
            session.change(*changes)
            return
        except ValueError:
            pass
    session.load(flat.lines())


def slow_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    ended: Mapping[int, Steady],
    rest: Sequence[Values | None],
) -> int:
    """Follow draws in time where small-signal analysis is not confirmed; return how many transients gave no result.

    A draw starts where nominal values ended, about its own operating point: so it is settled at once, or nearly. Where
    slow capacitors had to charge it is not, and a few are followed until they are.

    Parameters
    ----------
    session, flats, circuit, result
    ended : mapping
        Frequency's number to where nominal values ended, with its state less its operating point [V, A].
    rest : sequence of array or None
        Each draw's operating point, by state [V, A]; None where there is none.
    """
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    missed = 0
    for number, (flat, dc) in enumerate(zip(flats, rest, strict=False), 1):
        if dc is None:
            continue
        for index, nominal in ended.items():
            frequency = setup.frequencies[index]
            if nominal.drifted and number > DRIFT_DRAWS:
                continue
            follow = steady if nominal.drifted else nearby
            try:
                found = follow(session, flat, setup.generator, frequency, setup.start_dc, nodes, dc + nominal.state)
            except EngineError as error:
                raise_if_dead(session, error)
                missed += 1
                continue
            keep(result, number, index, found)
    return missed
