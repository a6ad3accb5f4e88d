"""The tolerance draws of a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Session
from lostgain.signatures.cycle import QUIET, decibels
from lostgain.signatures.follow import AGREE_DB, HEADROOM
from lostgain.signatures.row import RowResult
from lostgain.signatures.row_keep import highest, keep, keep_common, keep_dc, raise_if_dead
from lostgain.signatures.states import Linear, states
from lostgain.signatures.steady import steady

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Where small-signal analysis is confirmed at nominal values, a draw with a larger signal is followed in time too if
#: its peaks are nearer than this to the rails, as a share of the room about its DC, or if it is larger by this factor:
#: an op-amp that has lost gain gives way far from its rails. For so many cycles at most.
NEAR_CLIPPING, LOUDER, LOUD_CYCLES = 0.6, 1.12, 9


@dataclass(frozen=True)
class Loud:
    """A draw that may clip at a frequency where nominal values do not.

    Parameters
    ----------
    number, index : int
        The draw's, and the frequency's.
    size : array, (point,) [V rms]
        By small-signal analysis.
    share : array, (point,)
        Its peaks, of the room that the rails leave about the draw's DC.
    """

    number: int
    index: int
    size: Values
    share: Values

    def beyond(self, size: Values, share: Values) -> bool:
        """Tell whether it may clip although what has this size and share, point by point, does not."""
        near = (self.share > NEAR_CLIPPING) & (self.share > share)
        return bool((near | (self.size > LOUDER * size)).any())


@dataclass(frozen=True)
class Proved:
    """What is known not to clip: size and share, see `Loud`: arrays, (point, frequency)."""

    size: Values
    share: Values


def small_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    small: Complex,
    every: Sequence[str],
    fine: Proved | None = None,
) -> tuple[list[Values | None], list[Loud]]:
    """Fill in the draws where small-signal analysis is confirmed.

    Parameters
    ----------
    session, flats, circuit, result
    small : array, (point, frequency) [V rms]
        What small-signal analysis says at nominal values.
    every : sequence of str
        Nodes whose DC is returned.
    fine : Proved or None
        None for no loud draws.

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
            load(session, flat, before)
            before = flat
            rest.append(keep_dc(session, flat, circuit, result, number, every))
            phasor = session.ac(setup.frequencies, nodes)
            keep_common(session, circuit, result, number)
        except EngineError as error:
            raise_if_dead(session, error)
            before = None
            rest[number - 1 :] = [None]
            continue
        loud += _loud(circuit, result, number, phasor, fine) if fine is not None else []
        level = np.abs(phasor) * size
        result.level[number][:, confirmed] = level[:, confirmed]
        result.swing[number][:, confirmed] = (level * shape)[:, confirmed]
        result.phasor[number][:, confirmed] = (phasor * turn)[:, confirmed]
    return rest, loud


def proved(circuit: Circuit, result: RowResult, untouched: NDArray[np.bool_], well: RowResult | None) -> Proved:
    """Return what is known not to clip in a row: its nominal values, and the healthy unit's draws where the fault
    leaves all devices as linear as they are there.

    Parameters
    ----------
    circuit, result
    untouched : array of bool, (frequency,)
    well : RowResult or None
        The healthy unit's row.
    """
    size = result.level[0] + QUIET
    share = _share(circuit, result.dc[0], size)
    if well is not None and untouched.any():
        sizes = np.nan_to_num(well.level[1:])
        shares = np.array([_share(circuit, dc, each) for dc, each in zip(well.dc[1:], sizes, strict=True)])
        size = np.where(untouched, np.maximum(size, sizes.max(axis=0, initial=0.0)), size)
        share = np.where(untouched, np.maximum(share, shares.max(axis=0, initial=0.0)), share)
    return Proved(size, share)


def _share(circuit: Circuit, dc: Values, size: Values) -> Values:
    """Return the peaks as a share of the room that the rails leave about DC: array, (point, frequency)."""
    return np.asarray(2**0.5 * size / np.maximum(highest(circuit) - np.abs(np.nan_to_num(dc)), 1e-9)[:, None])


def _loud(circuit: Circuit, result: RowResult, number: int, phasor: Complex, fine: Proved) -> list[Loud]:
    """Return at which frequencies a draw may clip: louder than what is known not to, and near what the rails allow.

    Parameters
    ----------
    circuit, result, number
    phasor : array, (point, frequency) [V rms]
        The draw's, by small-signal analysis.
    fine : Proved
    """
    size = np.abs(phasor)
    share = _share(circuit, result.dc[number], size)
    each = [Loud(number, int(index), size[:, index], share[:, index])
            for index in np.flatnonzero(result.small_signal & result.settled)]  # fmt: skip
    return [one for one in each if one.beyond(fine.size[:, one.index], fine.share[:, one.index])]


def load(session: Session, flat: FlatCircuit, before: FlatCircuit | None, *more: str) -> None:
    """Put a circuit into ngspice: by changing numbers of the one before, where that is all that differs.

    Parameters
    ----------
    session, flat
    before : FlatCircuit or None
        What is loaded, if that is known.
    *more : str
        Netlist lines that both have besides.
    """
    changes = flat.changes_from(before) if before is not None else None
    if changes is not None:
        try:
            session.change(*changes)
            return
        except ValueError:
            pass
    *lines, end = flat.lines()
    session.load([*lines, *more, end])


def loud_draws(
    session: Session,
    flats: Sequence[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    loud: Sequence[Loud],
    fine: Proved,
) -> None:
    """Follow in time those draws that may clip where nominal values do not. What cannot be followed stays as it is.

    The loudest goes first: where it does not clip, those that are no louder at any point do not either.
    """
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    for index in sorted({each.index for each in loud}):
        frequency = setup.frequencies[index]
        size, share = fine.size[:, index], fine.share[:, index]
        for each in sorted((one for one in loud if one.index == index), key=lambda one: -float(one.share.max())):
            if not each.beyond(size, share):
                continue
            flat = flats[each.number - 1]
            try:
                linear = _small(session, flat, circuit, index)
                found = steady(session, flat, setup.generator, frequency, setup.start_dc, nodes, linear,
                               most=LOUD_CYCLES)  # fmt: skip
            except EngineError as error:
                raise_if_dead(session, error)
                continue
            if not found.settled:
                continue
            if np.abs(decibels(found.level, result.level[each.number, :, index])).max() < AGREE_DB:
                size, share = np.maximum(size, each.size), np.maximum(share, each.share)
            else:
                keep(result, each.number, index, found)


def _small(session: Session, flat: FlatCircuit, circuit: Circuit, index: int) -> Linear:
    """Return what small-signal analysis says of a draw at one of the frequencies."""
    setup = circuit.unit.setup
    every = states(flat)
    session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
    phasor = session.ac([setup.frequencies[index]], every)[:, 0]
    return Linear(session.op(every), phasor, HEADROOM * highest(circuit))
