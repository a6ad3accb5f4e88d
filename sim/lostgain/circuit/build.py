"""Building a unit's circuit: composed, flattened by ngspice, and proved against what it was made from."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from lostgain.circuit.compose import Composed, compose
from lostgain.circuit.ends import no_loose_ends
from lostgain.circuit.flat import FlatCircuit, own_models
from lostgain.circuit.heating import with_strays
from lostgain.circuit.listing import parse_listing
from lostgain.circuit.mains import settled_supply
from lostgain.circuit.model import Circuit, PlacedPart
from lostgain.engine import CircuitRefused, Pool, RunFailed, Session
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.model import TestPoint, Unit

#: The flat circuit must give the original's voltages to this share of them …
PROOF = 1e-6
#: … or to this many volts, where they are next to nothing.
PROOF_VOLTS = 1e-9
#: Both are solved more exactly for the comparison than ngspice's defaults, which leave a millionth of a volt.
EXACT = (".options reltol=1e-6 vntol=1e-9 abstol=1e-13",)


def build(unit: Unit, pool: Pool | None = None) -> Circuit:
    """Return a unit's circuit, proved, from a worker process.

    Parameters
    ----------
    unit : Unit
    pool : Pool or None
        Workers to use; one is started if there is none.

    Raises
    ------
    UserError
        If ngspice does not take the netlist, a test point is on no node, a node hangs in the air, or the flat circuit
        differs from the original.
    """
    if pool is None:
        with Pool(workers=1) as own:
            return build(unit, own)
    outcome = pool.map(_build, [(unit, compose(unit))])[0]
    if outcome.error:
        raise UserError([*unit.doubts, _explained(unit, CircuitRefused(outcome.error, outcome.said))])
    circuit: Circuit = outcome.value
    return circuit


def _build(session: Session, item: tuple[Unit, Composed]) -> Circuit:
    """Flatten and prove: the part of `build` that runs in a worker."""
    unit, composed = item
    try:
        session.load([*composed.lines[:-1], *EXACT, composed.lines[-1]])
        flat = parse_listing(session.listing())
        flat = replace(flat, other=tuple(line for line in flat.other if line not in EXACT))
        original = _fingerprint(session, unit, flat)
        flat = own_models(flat)
        points = _points(unit, composed, flat)
        no_loose_ends(unit, flat, composed.netlists)
        session.load(replace(flat, other=(*flat.other, *EXACT)).lines())
        _prove(original, _fingerprint(session, unit, flat), flat)
        if unit.supplies:
            flat = settled_supply(session, with_strays(flat, unit, composed.parts), unit)
    except (CircuitRefused, RunFailed) as error:
        raise UserError([*unit.doubts, _explained(unit, error)]) from error
    missing = [place.part for place in composed.parts.values() if not _is_there(place, flat)]
    if missing:
        raise UserError(
            [Problem(f"{part.designator} was not found in the circuit ngspice made.", part.where) for part in missing]
        )
    ends = composed.stage_ends
    cold = next(reversed(composed.cold_ends.values()), "0")
    return Circuit(
        unit, flat, composed.parts, points, composed.output, ends, session.version, cold, composed.stage_ports
    )


def _is_there(place: PlacedPart, flat: FlatCircuit) -> bool:
    own = place.subckt or place.element in flat.elements
    return own and all(pin.element in flat.elements for pin in place.pins.values())


def _points(unit: Unit, composed: Composed, flat: FlatCircuit) -> Mapping[str, str]:
    known = set(flat.nodes())
    problems: list[Problem] = []
    points = {}
    for point in unit.points:
        node = _node_of(point, composed, known)
        if node in known:
            points[point.name] = node
            continue
        stage, _, inner = point.node.rpartition("/")
        inside = [short for short, name in composed.stages.get(stage, {}).items() if name in known]
        names = inside if stage else [name for name in known if "." not in name]
        problems.append(
            Problem(f"test point '{point.name}' is on '{point.node}', which is no node of the circuit.",
                    point.where, nearest(inner, names))
        )  # fmt: skip
    if problems:
        raise UserError(problems)
    return points


def _node_of(point: TestPoint, composed: Composed, known: Collection[str]) -> str:
    stage, _, inner = point.node.rpartition("/")
    inner = inner.lower()
    if stage:
        return composed.stages.get(stage, {}).get(inner, "")
    return inner if inner in known else {"in": composed.input, "out": composed.output}.get(inner, "")


def _fingerprint(session: Session, unit: Unit, flat: FlatCircuit) -> np.ndarray:
    nodes = flat.nodes()
    dc = session.op(nodes)[:, None]
    ac = session.ac(unit.setup.frequencies, nodes)
    return np.hstack([dc.astype(complex), ac])


def _prove(original: np.ndarray, again: np.ndarray, flat: FlatCircuit) -> None:
    difference = np.abs(again - original)
    allowed = PROOF * np.abs(original) + PROOF_VOLTS
    # Small-signal levels are volts at the generator's drive, so that an absolute floor means the same in both.
    worst = np.unravel_index(np.argmax(difference / allowed), difference.shape)
    if difference[worst] > allowed[worst]:
        node = flat.nodes()[worst[0]]
        what = "DC" if worst[1] == 0 else "level"
        raise CircuitRefused(
            f"the flat circuit differs from the original: {what} at node {node} is {abs(again[worst]):.9g} V "
            f"instead of {abs(original[worst]):.9g} V",
            (),
        )


def _explained(unit: Unit, error: CircuitRefused | RunFailed) -> Problem:
    said = [line for line in error.said if any(word in line.lower() for word in ("error", "warning", "singular"))]
    tail = f" ngspice said: {' / '.join(said[:3])}" if said else ""
    # Code models are not loaded: they can read and write files, and start programs.
    meant = "Write sources such as this one as B sources: B1 out 0 V=…" if any("MIF" in line for line in said) else ""
    file = unit.netlist or next((stage.netlist for stage in unit.stages if stage.netlist), unit.file)
    return Problem(f"ngspice does not take this circuit: {error.reason}.{tail}", Where(file), meant)
