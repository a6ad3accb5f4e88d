"""Readings and minutes until a fault is isolated, by each policy, on simulated repairs.

Isolated means that the stop rule of ``lostgain next`` holds: one part, or parts that no reading left tells apart, have
90 % of the probability; or no reading left would change what one would do. It does not mean that the part named is the
right one, which a technician does not know either when he stops: so minutes are counted over all cases, and beside
them stands the share in which the first part named is right.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.answers import of_verdict
from benchmarks.follow import Policy, by_next, follow
from benchmarks.truth import Truth
from benchmarks.walks import by_halves, stage_by_stage
from lostgain.circuit import Circuit
from lostgain.diagnosis import match
from lostgain.readings import Reading, Readings
from lostgain.readings.taken import What, what
from lostgain.signatures import Table

POLICIES: dict[str, Policy] = {"next": by_next, "walk": stage_by_stage, "halves": by_halves}


@dataclass(frozen=True)
class Isolated:
    """Where one policy stopped on one case.

    Parameters
    ----------
    readings : int
        Without the first, which every policy is given.
    minutes : float
    stop : str
        As in `benchmarks.follow.Walk`.
    right : bool
        Whether the first part named was the one that failed; a unit called healthy names none.
    """

    readings: int
    minutes: float
    stop: str
    right: bool


def first_reading(circuit: Circuit, sheet: Readings) -> Reading | None:
    """Return what every policy starts from: the level at the output and the middle frequency; None if not simulated."""
    reach = {point.name for point in circuit.unit.points if point.reach}
    points = [name for name in circuit.points if name in reach]
    at_output = [name for name in points if circuit.points[name] == circuit.output] or points
    frequencies = sorted(circuit.unit.setup.frequencies)
    middle, channel = frequencies[len(frequencies) // 2], circuit.unit.channels[0].name
    return taken(sheet).get(what(Reading(at_output[-1], "level", channel, frequency=middle)))


def taken(sheet: Readings) -> dict[What, Reading]:
    """Return a sheet's readings by what they are of: the same value for every policy that takes them."""
    return {what(row): row for row in sheet.rows}


def isolate(table: Table, case: tuple[Truth, Readings]) -> dict[str, Isolated]:
    """Follow every policy on one case; nothing where the first reading could not be simulated.

    Parameters
    ----------
    table : Table
    case : (Truth, Readings)
        Its sheet holds what the bench reads.
    """
    truth, sheet = case
    start, known = first_reading(table.circuit, sheet), taken(sheet)
    if start is None:
        return {}

    def bench(reading: Reading) -> Reading | None:
        return known.get(what(reading))

    found = {}
    for name, policy in POLICIES.items():
        walk = follow(policy, bench, table, start=[start])
        named = of_verdict(match(table, walk.last.readings), 0.0).first()
        right = walk.stop != "healthy" and truth.part in named
        found[name] = Isolated(len(walk.taken), walk.minutes, walk.stop, right)
    return found
