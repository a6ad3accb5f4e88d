"""A row's supply: what its rectifiers settle to under a fault, and the ripple at every test point.

Only units whose supply is described have these numbers. A fault of the supply, and one that changes what it delivers,
is followed in time with the mains on. All others leave the reservoirs' ripple as it is: how much of it a test point
shows then goes by small-signal analysis from the reservoirs, at twice the mains' frequency, against the healthy unit.
The same gives the tolerance draws.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.heating import heatings, kept, warmed
from lostgain.circuit.mains import fed_node, held, holding, on_mains, reservoirs, ripple_source
from lostgain.engine import EngineError, Session
from lostgain.faults import Fault

Values = NDArray[np.float64]

#: A fault that changes what a reservoir delivers by more than this share is followed on the mains.
CHANGED = 0.02
#: Ripple below this [V peak to peak] is none.
NONE = 1e-7


def powered(
    session: Session, faulty: FlatCircuit, circuit: Circuit, faults: Sequence[Fault], well: Values | None, stray: bool
) -> tuple[FlatCircuit, Values, str]:
    """Return a faulty circuit with its reservoirs held where the mains leaves them.

    Parameters
    ----------
    session : Session
    faulty : FlatCircuit
        With its reservoirs held where the healthy one's are.
    circuit : Circuit
    faults : sequence of Fault
    well : array, (point,) or None
        The healthy unit's ripple; None for the healthy unit itself.
    stray : bool
        True for a stray path, which is never followed on the mains.

    Returns
    -------
    flat : FlatCircuit
    ripple : array, (point,) [V peak to peak]
    remark : str
        Empty, or what went wrong.
    """
    unit = circuit.unit
    before, after = _delivered(session, circuit.flat, circuit), _delivered(session, faulty, circuit)
    means, amps = before
    own = {stage.name for stage in unit.supplies}
    moved = np.abs(after[1] - amps) > CHANGED * np.abs(amps)
    nodes = list(circuit.points.values())
    followed = well is None or any(fault.stage in own for fault in faults) or bool(moved.any())
    if followed and not stray:
        try:
            found = on_mains(session, faulty, unit, means, nodes)
            warm = warmed(faulty, circuit.flat, unit, circuit.parts, found.heat)
            if warm is not faulty:  # valves that are colder draw less
                faulty, found = warm, on_mains(session, warm, unit, means, nodes)
            remark = "" if found.settled else "the supply does not settle on the mains"
            return held(session, faulty, unit, found.means), found.ripple, remark
        except EngineError as error:
            if session.dead:
                raise
            return faulty, np.full(len(nodes), np.nan), f"not followed on the mains: {error.reason}"
    if well is None:
        return faulty, np.full(len(nodes), np.nan), ""
    share = _shares(session, faulty, circuit, _through(session, circuit.flat, circuit))
    return faulty, well * share, ""


def held_alike(flat: FlatCircuit, nominal: FlatCircuit, circuit: Circuit) -> FlatCircuit:
    """Return a tolerance draw with its reservoirs moved, and its valves as warm, as the fault has those of nominal."""
    values = {}
    for source, _ in holding(circuit.unit):
        whole = circuit.flat.elements[source].value
        moved = nominal.elements[source].value / whole if whole else 1.0
        values[source] = flat.elements[source].value * moved
    watts = kept(nominal, heatings(circuit.unit))
    return warmed(flat.with_values(values), circuit.flat, circuit.unit, circuit.parts, watts)


def ripple_draws(
    session: Session, nominal: FlatCircuit, flats: Sequence[FlatCircuit], circuit: Circuit, ripple: Values
) -> Values:
    """Return the ripple of the tolerance draws: array, (draw, point) [V peak to peak]; NaN where none was found."""
    found = np.full((len(flats), len(ripple)), np.nan)
    through = _through(session, nominal, circuit)
    for number, flat in enumerate(flats):
        try:
            found[number] = ripple * _shares(session, flat, circuit, through)
        except EngineError:
            if session.dead:
                raise
    return found


def _delivered(session: Session, flat: FlatCircuit, circuit: Circuit) -> tuple[Values, Values]:
    """Return voltage and current of every reservoir, mains off: two arrays, (reservoir,) [V], [A]."""
    rails = reservoirs(circuit.unit)
    nodes = [fed_node(rail.name) for rail in rails]
    session.load(flat.lines())
    volts = session.op(nodes)
    held_at = np.array([flat.elements[source].value for source, _ in holding(circuit.unit)])
    ohms = np.array([flat.elements[f"r_{source.removeprefix('v_')}"].value for source, _ in holding(circuit.unit)])
    return volts, (held_at - volts) / ohms


def _through(session: Session, flat: FlatCircuit, circuit: Circuit) -> Values:
    """Return what comes of the reservoirs' ripple at each test point: array, (point,)."""
    feed = circuit.unit.feed
    assert feed is not None
    session.load(ripple_source(flat, circuit.unit).lines())
    return np.asarray(np.abs(session.ac([2 * feed.frequency], list(circuit.points.values())))[:, 0])


def _shares(session: Session, flat: FlatCircuit, circuit: Circuit, before: Values) -> Values:
    """Return how much more ripple than before comes through to each test point: array, (point,)."""
    after = _through(session, flat, circuit)
    return np.asarray(np.divide(after, before, out=np.ones_like(after), where=before > NONE))
