"""Every fault of a unit, one a severity: the rows of its signature table."""

from __future__ import annotations

from fnmatch import fnmatch

from lostgain.circuit import Circuit, PlacedPart
from lostgain.faults.catalogue import modes_for
from lostgain.faults.edits import can_put_in
from lostgain.faults.model import Fault
from lostgain.faults.packages import never_alone, together
from lostgain.unit.facts import Cluster
from lostgain.unit.library import stage
from lostgain.unit.model import Part, Stage, Unit

SHARED_KINDS = ("rail", "fuse")


def listing(circuit: Circuit) -> list[Fault]:
    """Return the faults of a circuit, in the order of its parts.

    Parameters
    ----------
    circuit : Circuit

    Returns
    -------
    list of Fault
        One for each part, mode and severity of the catalogue, then what fails together.
    """
    shared = never_alone(circuit.unit)
    faults = [fault for place in circuit.parts.values() for fault in _of_part(place, circuit)]
    return [fault for fault in faults if (fault.part, fault.mode) not in shared] + clusters(circuit.unit)


def _of_part(place: PlacedPart, circuit: Circuit) -> list[Fault]:
    part = place.part
    shared = is_shared(part, circuit.unit)
    faults = []
    for mode in modes_for(part.kind):
        if not can_put_in(mode, place, circuit.flat):
            continue
        for severity in mode.levels or (None,):
            faults.append(Fault(part.designator, mode.name, severity, part.stage, shared=shared))
    return faults


def is_shared(part: Part, unit: Unit) -> bool:
    """Say whether a part serves all channels: a rail, or a rail's fuse."""
    if part.stage in {stage.name for stage in unit.supplies}:
        return True
    return part.kind == "rail" or part.designator in {rail.fuse for rail in unit.rails}


def clusters(unit: Unit) -> list[Fault]:
    """Return the parts that fail together: as the library's stages name them, and those in one housing."""
    of_stages = [
        fault
        for one in (*unit.stages, *unit.supplies)
        if one.source == "library"
        for cluster in stage(one.library).clusters
        if (fault := _cluster(cluster, one, unit)) is not None
    ]
    return of_stages + together(unit)


def _cluster(cluster: Cluster, one: Stage, unit: Unit) -> Fault | None:
    by_role = {part.role: part for part in unit.parts.values() if part.stage == one.name}
    members = []
    for member in cluster.members:
        role, mode = member.split(None, 1)
        if role == "FUSES":
            members += [
                Fault(rail.fuse, mode, stage="supply", shared=True)
                for rail in unit.rails
                if rail.fuse and rail.name in one.rails.values()
            ]
        else:
            roles = [name for name in by_role if fnmatch(name, role)]
            members += [Fault(by_role[name].designator, mode, stage=one.name) for name in roles]
    if len(members) < 2:  # of a part that is not there the other has failed alone, which is a fault of its own
        return None
    return Fault(members[0].part, cluster.name, None, one.name, tuple(members))
