"""`lostgain next` beside the policy with the fewest expected minutes, on a unit small enough to search completely.

The start is a simulated repair's first reading; from there on the world is the signature table's own, in cells, and
expected minutes are exact (`benchmarks.complete`). Every policy has the same readings: level at the middle frequency,
and DC, at every test point; `next` too is asked on a table that has no others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchmarks.complete import Policy, by_lostgain, cost, in_order, lookahead, optimum, world
from benchmarks.isolate import first_reading
from benchmarks.truth import Truth
from lostgain.circuit import Circuit
from lostgain.readings import Readings
from lostgain.signatures import Table

#: Test points of the largest unit that is searched: with three, five readings are left, and a search takes a second.
POINTS = 3
POLICIES: dict[str, Policy] = {"next": by_lostgain, "lookahead": lookahead, "in order": in_order}


def small(circuit: Circuit) -> bool:
    """Tell whether a unit is searched."""
    return sum(point.reach for point in circuit.unit.points) <= POINTS


def beside(
    table: Table, case: tuple[Truth, Readings], points: Sequence[str] = ()
) -> dict[str, tuple[float, float, float]]:
    """Return expected minutes, expected readings and the share right of each policy from a case's first reading on.

    Parameters
    ----------
    table : Table
    case : (Truth, Readings)
    points : sequence of str
        Test points that may be read; all of them if empty.
    """
    start = first_reading(table.circuit, case[1])
    if start is None:
        return {}
    one = _one_frequency(table, start.frequency or table.frequencies[0])
    here = world(one, [start], points or one.points, [("level", 0), ("dc", -1)])
    return {"optimal": optimum(here), **{name: cost(here, policy) for name, policy in POLICIES.items()}}


def _one_frequency(table: Table, frequency: float) -> Table:
    data = table.data.isel(frequency=[number for number, each in enumerate(table.frequencies) if each == frequency])
    unit = table.circuit.unit
    setup = replace(unit.setup, frequencies=(frequency,), levels=())
    circuit = replace(table.circuit, unit=replace(unit, setup=setup))
    return replace(table, circuit=circuit, data=data, key=f"{table.key}, {frequency:g} Hz")
