"""The tolerance draws of a row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Session
from lostgain.signatures.cycle import QUIET
from lostgain.signatures.follow import HEADROOM, RINGING, Linear, Steady, states
from lostgain.signatures.row import RowResult
from lostgain.signatures.row_keep import keep, keep_common, keep_dc, raise_if_dead
from lostgain.signatures.steady import nearby, steady

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Where small-signal analysis is confirmed at nominal values, a draw with a larger signal is followed in time too if
#: its peaks are nearer than this to the rails, as a share of the room about its DC, or if it is larger by this factor:
#: an op-amp that has lost gain gives way far from its rails. For so many cycles at most.
NEAR_CLIPPING, LOUDER, LOUD_CYCLES = 0.6, 1.12, 9
#: Draws that are followed for long where slow capacitors have to charge: each ends somewhere else.
DRIFT_DRAWS = 4


@dataclass(frozen=True)
class Loud:
    """A draw that may clip at a frequency: its number, that of the frequency, and what small-signal analysis says."""

    number: int
    index: int
    linear: Linear


def small_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    small: Complex,
    every: Sequence[str],
) -> tuple[list[Values | None], list[Loud]]:
    """Fill in the draws where small-signal analysis is confirmed.

    Returns
    -------
    rest : list of array or None
        Each draw's DC at `every`; None for none.
    loud : list of Loud
        Draws that may clip although nominal values do not.
    """
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
    loud: list[Loud] = []
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
        try:
            loud += _loud(session, flat, circuit, result, number, phasor)
        except EngineError as error:
            raise_if_dead(session, error)
            before = None
        level = np.abs(phasor) * size
        result.level[number][:, confirmed] = level[:, confirmed]
        result.swing[number][:, confirmed] = (level * shape)[:, confirmed]
        result.phasor[number][:, confirmed] = (phasor * turn)[:, confirmed]
    return rest, loud


def _loud(
    session: Session, flat: FlatCircuit, circuit: Circuit, result: RowResult, number: int, phasor: Complex
) -> list[Loud]:
    """Return at which frequencies a draw may clip: louder than what is confirmed, and near what the rails let through.

    Parameters
    ----------
    session : Session
        With the draw loaded.
    flat, circuit, result, number
    phasor : array, (point, frequency) [V rms]
        The draw's, by small-signal analysis.
    """
    rail = max((abs(each.volts) for each in circuit.unit.rails), default=np.inf)
    room = np.maximum(rail - np.abs(result.dc[number]), 0.0)[:, None]
    size, confirmed = np.abs(phasor), result.level[0] + QUIET
    near = (2**0.5 * size > NEAR_CLIPPING * room) & (size > confirmed)
    louder = (near | (size > LOUDER * confirmed)).any(axis=0)
    found = np.flatnonzero(louder & result.small_signal & result.settled)
    if not len(found):
        return []
    every = states(flat)
    dc, all_phasors = session.op(every), session.ac(circuit.unit.setup.frequencies, every)
    return [Loud(number, int(index), Linear(dc, all_phasors[:, index], HEADROOM * rail)) for index in found]


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
    cycles: dict[int, tuple[int, ...]] = {}  # by frequency, once a draw has told
    for number, (flat, dc) in enumerate(zip(flats, rest, strict=False), 1):
        if dc is None:
            continue
        for index, nominal in ended.items():
            if nominal.drifted and number > DRIFT_DRAWS:
                continue
            given = flat, setup.generator, setup.frequencies[index], setup.start_dc, nodes, dc + nominal.state
            try:
                if nominal.drifted:
                    found = steady(session, *given)
                else:
                    found = _until_settled(partial(nearby, session, *given), cycles.get(index, (2, *RINGING)))
                    cycles.setdefault(index, (1,) if found.cycles == 2 else RINGING)
            except EngineError as error:
                raise_if_dead(session, error)
                missed += 1
                continue
            keep(result, number, index, found)
    return missed


def _until_settled(follow: Callable[[int], Steady], counts: Sequence[int]) -> Steady:
    """Follow a draw for the first of some numbers of cycles after which it has settled, or for the last of them."""
    found = follow(counts[0])
    for count in counts[1:]:
        if found.settled:
            break
        found = follow(count)
    return found


def loud_draws(
    session: Session, flats: Sequence[FlatCircuit], circuit: Circuit, result: RowResult, loud: Sequence[Loud]
) -> None:
    """Follow in time those draws that may clip where nominal values do not. What cannot be followed stays as it is."""
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    for each in loud:
        frequency = setup.frequencies[each.index]
        try:
            found = steady(session, flats[each.number - 1], setup.generator, frequency, setup.start_dc, nodes,
                           each.linear, most=LOUD_CYCLES)  # fmt: skip
        except EngineError as error:
            raise_if_dead(session, error)
            continue
        if found.settled:
            keep(result, each.number, each.index, found)
