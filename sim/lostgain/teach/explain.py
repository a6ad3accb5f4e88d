"""A unit explained for learning: what each stage and part does, what a healthy one shows, and what failures change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lostgain.bench.healthy import as_read, healthy_dc, healthy_level
from lostgain.bench.sheet_model import Range
from lostgain.diagnosis.severity import sentence
from lostgain.faults import Fault, Rates, listing
from lostgain.readings import Reading, instruments
from lostgain.readings.taken import at_text
from lostgain.signatures import Table, sentences
from lostgain.signatures.gains import StageGain, stage_gains
from lostgain.signatures.sentences import DC_RIGHT, NO_MARK, ripple
from lostgain.signatures.tabled import middle, tabled
from lostgain.teach.outlook import HEALTHY_WORDS, Outlook, Values, outlook
from lostgain.unit.library import stage as library_stage
from lostgain.unit.model import Part, Stage, TestPoint
from lostgain.unit.summary import value_shown

#: The stage that rails and their fuses belong to.
SUPPLY = "supply"
#: A reading that tells less than this of a failure [bit] is not named.
TELLS = 0.15
#: … nor one that is odd in a smaller share of units: a pair of the few units drawn may be odd without the failure.
SHOWN = 0.6


@dataclass(frozen=True)
class Failure:
    """One way a part fails.

    Parameters
    ----------
    fault : Fault
        Of middle severity.
    says : str
        What has happened.
    sees : tuple of str
        What it changes, most telling first.
    telling : str
        The reading that speaks most for it, and what it then shows: ``U2 pin 1, level at 500 Hz: nothing``; empty where
        no reading does.
    """

    fault: Fault
    says: str
    sees: tuple[str, ...]
    telling: str


@dataclass(frozen=True)
class ExplainedPart:
    """A part.

    Parameters
    ----------
    part : Part
    value : str
    does : str
        What it is there for, and what shows when it fails; may be empty.
    failures : tuple of Failure
    """

    part: Part
    value: str
    does: str
    failures: tuple[Failure, ...]


@dataclass(frozen=True)
class ExplainedPoint:
    """A test point.

    Parameters
    ----------
    point : TestPoint
    about : str
        What is seen there in a healthy stage; may be empty.
    levels : tuple of Range
        Of healthy units, at each frequency [V rms].
    dc : Range
        [V]
    """

    point: TestPoint
    about: str
    levels: tuple[Range, ...]
    dc: Range


@dataclass(frozen=True)
class ExplainedStage:
    """A stage.

    Parameters
    ----------
    stage : Stage or None
        None for the supply.
    name, purpose, formula : str
        `formula` is its gain, for people; may be empty.
    gain : StageGain or None
        As simulated, healthy.
    parts : tuple of ExplainedPart
    points : tuple of ExplainedPoint
    """

    stage: Stage | None
    name: str
    purpose: str
    formula: str
    gain: StageGain | None
    parts: tuple[ExplainedPart, ...]
    points: tuple[ExplainedPoint, ...]


def explain(table: Table, rates: Rates) -> tuple[ExplainedStage, ...]:
    """Return a unit's stages in signal order, the supply stages and what belongs to rails last.

    Parameters
    ----------
    table : Table
    rates : Rates
        Failure rates: a reading is telling that makes a failure more likely than it was.
    """
    unit = table.circuit.unit
    faults: dict[str, dict[str, list[Fault]]] = {}
    of_catalogue = set(listing(table.circuit))  # a table has more severities, and a wrong part of the right value
    for fault in table.faults:
        if not fault.members and fault in of_catalogue:
            faults.setdefault(fault.part, {}).setdefault(fault.mode, []).append(fault)
    shown = {(part, mode): middle(some) for part, modes in faults.items() for mode, some in modes.items()}
    told = _tellings(outlook(table, rates, shown=shown))
    state = tabled(table, table.faults[0]).healthy
    gains = {gain.stage: gain for gain in stage_gains(table.circuit, state)}

    def part(each: Part) -> ExplainedPart:
        found = [_failure(table, shown[each.designator, mode], told) for mode in faults.get(each.designator, {})]
        return ExplainedPart(each, value_shown(each), each.does, tuple(found))

    def explained(name: str, stage: Stage | None) -> ExplainedStage:
        facts = library_stage(stage.library) if stage is not None and stage.library else None
        parts = tuple(part(each) for each in unit.parts.values() if each.stage == name)
        points = tuple(_point(table, each, facts.nodes if facts else {}) for each in unit.points if each.stage == name)
        purpose = facts.purpose if facts else stage.purpose if stage is not None else ""
        return ExplainedStage(stage, name, purpose, facts.gain if facts else "", gains.get(name), parts, points)

    found = [explained(stage.name, stage) for stage in (*unit.stages, *unit.supplies)]
    found += [explained(SUPPLY, None)] if any(each.stage == SUPPLY for each in unit.parts.values()) else []
    return tuple(each for each in found if each.parts or each.points)


def _failure(table: Table, fault: Fault, told: dict[tuple[str, str], str]) -> Failure:
    seen = tabled(table, fault)
    # What is weighed is level and DC; where neither tells, ripple may.
    telling = told.get((fault.part, fault.mode), "") or ("the ripple" if ripple(seen) else "")
    # A failure too slight for the sentences may still have a reading that shows it: nobody is told both.
    untrue = {NO_MARK: bool(telling), DC_RIGHT: ", dc" in telling}
    sees = tuple(each for each in sentences(seen) if not untrue.get(each))
    says = sentence(fault, fault.severity, None, table.circuit, None)
    return Failure(fault, says, sees, telling)


def _point(table: Table, point: TestPoint, nodes: object) -> ExplainedPoint:
    instrument = instruments(table.circuit.unit.folder)[table.circuit.unit.setup.instrument]
    known = nodes.get(point.node.rpartition("/")[2], "") if isinstance(nodes, dict) else ""
    levels = tuple(as_read(healthy_level(table, point.name, index), instrument, "level")
                   for index in range(len(table.frequencies)))  # fmt: skip
    return ExplainedPoint(point, point.about or known, levels, as_read(healthy_dc(table, point.name), instrument, "dc"))


def _tellings(seen: Outlook) -> dict[tuple[str, str], str]:
    """Return, for each part and mode, the reading that speaks most for it and what it then shows."""
    every = _shares(seen, np.ones(len(seen.weight), dtype=bool))
    # A reading that is as it should be speaks against other failures, not for this one.
    odd = np.zeros(every.shape, dtype=bool)
    for row, names in enumerate(seen.ranges):
        odd[row, : len(names)] = [HEALTHY_WORDS not in name for name in names]
    found = {}
    for number, named in enumerate(seen.named):
        mine = seen.suspect == number
        if named.fault is None or not mine.any():
            continue
        own = _shares(seen, mine)
        with np.errstate(divide="ignore", invalid="ignore"):
            bits = np.where(
                (own > 0) & odd & ((own * odd).sum(axis=1, keepdims=True) >= SHOWN), own * np.log2(own / every), 0.0
            )
        best, cell = np.unravel_index(int(bits.argmax()), bits.shape)
        if bits[best, cell] >= TELLS:
            place = _read(seen.readings[int(best)].reading)
            found[named.fault.part, named.fault.mode] = f"{place}: {seen.ranges[int(best)][int(cell)]}"
    return found


def _read(reading: Reading) -> str:
    return f"{reading.point}, {reading.quantity}{at_text(reading.frequency, reading.generator)}"


def _shares(seen: Outlook, which: np.ndarray) -> Values:
    """How often each range of each reading comes: array, (reading, range)."""
    weight = seen.weight[which]
    return np.asarray(np.tensordot(weight / weight.sum(), seen.chance[which], 1))
