"""Which fuses a failure would blow: the current through each against its rating.

A fuse carries half more than its rating for an hour and more, and blows at 2.1 times it within half an hour at most
(IEC 60127-2, cartridge fuse-links of quick and of time-lag characteristic; from memory, to be verified).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.circuit.mains import on_mains, reservoirs
from lostgain.engine import EngineError, Session
from lostgain.faults import Fault, put_in
from lostgain.signatures.ripple import powered
from lostgain.unit.model import Stage, Unit

Values = NDArray[np.float64]

#: Times its rating: what blows a fuse for certain, and what it may stand for hours.
BLOWS, MAY_BLOW = 2.1, 1.5


@dataclass(frozen=True)
class Fuse:
    """A fuse that has a rating.

    Parameters
    ----------
    part : str
        Designator.
    element : str
        In the flat circuit.
    amps : float
        Its rating [A].
    rails : tuple of str
        What is gone when it blows.
    mains : bool
        True where it is ahead of a transformer, and the current in it is AC.
    """

    part: str
    element: str
    amps: float
    rails: tuple[str, ...]
    mains: bool


def fuses(circuit: Circuit) -> tuple[Fuse, ...]:
    """Return the fuses of a unit that have a rating."""
    return tuple(_fuses(circuit))


def _fuses(circuit: Circuit) -> Iterator[Fuse]:
    unit = circuit.unit
    supplies = {stage.name: stage for stage in unit.supplies}
    for name, place in circuit.parts.items():
        if place.part.kind != "fuse" or not place.part.value:
            continue
        stage = supplies.get(place.part.stage)
        if unit.feed is not None and name == unit.feed.fuse:
            gone = [rail for each in unit.supplies for port, rail in each.rails.items() if port != "in"]
            yield Fuse(name, place.element, place.part.value, tuple(dict.fromkeys(gone)), True)
        elif stage is not None:
            yield Fuse(name, place.element, place.part.value, _fed_by(stage, unit), True)
        else:
            rails = tuple(rail.name for rail in unit.rails if rail.fuse == name)
            yield Fuse(name, place.element, place.part.value, rails, False)


def _fed_by(first: Stage, unit: Unit) -> tuple[str, ...]:
    """Return the rails that come from a supply stage, through others or not."""
    found: list[str] = []
    for stage in unit.supplies:
        if stage is first or stage.rails.get("in") in found:
            found += [rail for port, rail in stage.rails.items() if port != "in"]
    return tuple(found)


def fuse_amps(session: Session, item: tuple[Circuit, tuple[Fault, ...]]) -> Values:
    """Return the current through each fuse with the generator off: array, (fuse,) [A, rms where it is AC]; NaN unknown.

    Of the one channel that is simulated. Supplies that have not settled count as well: a transformer with a short
    behind it takes seconds to, and the fuse does not wait for that.
    """
    circuit, faults = item
    listed = fuses(circuit)
    found = np.full(len(listed), np.nan)
    flat = circuit.flat
    for fault in faults:
        flat = put_in(flat, fault, circuit)
    try:
        if circuit.unit.supplies:
            flat, _, _ = powered(session, flat, circuit, faults, None, False)
        session.load(flat.lines())
        for number, fuse in enumerate(listed):
            if not fuse.mains:
                element = flat.elements[fuse.element]
                ends = session.op(list(element.nodes))
                found[number] = abs(ends[0] - ends[1]) / element.value
        mains = [number for number, fuse in enumerate(listed) if fuse.mains]
        if mains:
            start = np.array([rail.volts for rail in reservoirs(circuit.unit)])
            watched = [listed[number].element for number in mains]
            found[mains] = on_mains(session, flat, circuit.unit, start, (), watched).amps
    except EngineError:
        if session.dead:
            raise
    return found
