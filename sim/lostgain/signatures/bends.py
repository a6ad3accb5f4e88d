"""Severities between the catalogue's, where a signature bends: a straight line between two rows would be wrong there.

A cold joint of 1 kΩ may leave all as it was and one of 47 kΩ cut the signal off; what 7 kΩ does lies on no straight
line between. At nominal values, by operating point and small-signal analysis, the severity half-way between two rows
is compared with the mean of both, and becomes a row where that is wrong; then its halves are, in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Pool, Session
from lostgain.faults import Fault, put_in
from lostgain.signatures.ripple import powered
from lostgain.signatures.row_keep import raise_if_dead

Values = NDArray[np.float64]

#: Half-way between two severities, a level may be this far from the mean of both [dB], and DC as far as this on the
#: scale it is compared on, asinh(V / `VOLTS`). Levels below `FLOOR` [V rms] are alike. Halved so often at most.
BEND_DB, BEND_DC, VOLTS, FLOOR, HALVED = 2.0, 0.3, 0.1, 1e-3, 3
#: All that the severities depend on besides the circuit.
SETTINGS = (BEND_DB, BEND_DC, VOLTS, FLOOR, HALVED)
#: Figures that a severity between others is rounded to.
FIGURES = 6


class Shown(NamedTuple):
    """What the test points show at nominal values: DC and levels, on the scales they are compared on."""

    dc: Values
    level: Values


def refined(circuit: Circuit, faults: Sequence[Fault], pool: Pool) -> tuple[Fault, ...]:
    """Return faults with more severities where their signatures bend.

    Parameters
    ----------
    circuit : Circuit
    faults : sequence of Fault
        As listed: a part and mode's severities, one after the other.
    pool : Pool

    Returns
    -------
    tuple of Fault
        All of `faults`, in their order, and those between.
    """
    groups: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        groups.setdefault((fault.part, fault.mode), []).append(fault)
    several = {key: mine for key, mine in groups.items() if len(mine) > 1}
    for index, outcome in pool.imap(_refined, list(several.values()), common=circuit):
        if outcome.error is None:  # else its severities stay as they are
            groups[list(several)[index]] = outcome.value
    return tuple(fault for mine in groups.values() for fault in mine)


def _refined(session: Session, circuit: Circuit, mine: list[Fault]) -> list[Fault]:
    """Return one part and mode's severities with those put between."""
    shown = [_shown(session, circuit, fault) for fault in mine]
    found = [mine[0]]
    for (one, before), (other, after) in pairwise(zip(mine, shown, strict=True)):
        if before is not None and after is not None:
            found += _between(session, circuit, one, other, before, after, HALVED)
        found.append(other)
    return found


def _between(
    session: Session, circuit: Circuit, one: Fault, other: Fault, before: Shown, after: Shown, times: int
) -> list[Fault]:
    severity = float(np.sqrt((one.severity or 0.0) * (other.severity or 0.0)))
    half = replace(one, severity=float(f"{severity:.{FIGURES}g}"))
    shown = _shown(session, circuit, half)
    if shown is None or not _bent(before, shown, after):
        return []
    if times == 1:
        return [half]
    return [
        *_between(session, circuit, one, half, before, shown, times - 1),
        half,
        *_between(session, circuit, half, other, shown, after, times - 1),
    ]


def _shown(session: Session, circuit: Circuit, fault: Fault) -> Shown | None:
    """Return what a fault shows, None where it has no operating point."""
    setup, nodes = circuit.unit.setup, list(circuit.points.values())
    try:
        flat = put_in(circuit.flat, fault, circuit)
        if circuit.unit.supplies:
            flat = powered(session, flat, circuit, (fault,), np.zeros(len(nodes)), False)[0]
        session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
        dc, level = np.asarray(session.op(nodes)), np.abs(session.ac(setup.frequencies, nodes))
    except EngineError as error:
        raise_if_dead(session, error)
        return None
    return Shown(np.arcsinh(dc / VOLTS), 10 * np.log10(level**2 + FLOOR**2))


def _bent(before: Shown, half: Shown, after: Shown) -> bool:
    """Tell whether what is half-way is not what a straight line says."""
    off = [
        np.abs(here - (one + other) / 2).max(initial=0.0) for one, here, other in zip(before, half, after, strict=True)
    ]
    return bool(off[0] > BEND_DC or off[1] > BEND_DB)
