"""What the technician knows besides readings, as factors on how often each failure is expected."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lostgain.faults import Fault
from lostgain.problems import Problem, UserError, nearest
from lostgain.signatures import Table
from lostgain.unit.channels import package
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Channel, Unit

#: Parts named to who asks for one that the unit does not have.
SHOWN = 12


@dataclass(frozen=True)
class Knowledge:
    """What is known of one unit on the bench.

    Parameters
    ----------
    suspects : tuple of str
        Designators, in any channel's numbering.
    age : float or None
        Of the unit [years].
    notes : tuple of str
        Names in ``knowledge.toml``: ``dropped``, ``electrolytics all original`` and so on, or what else they go by.
    new : tuple of str
        Designators, in any channel's numbering, of parts that were changed for new ones: U2 for a whole housing.
    stage : str
        That the fault is in, as somebody found before; empty where nobody did.
    """

    suspects: tuple[str, ...] = ()
    age: float | None = None
    notes: tuple[str, ...] = ()
    new: tuple[str, ...] = ()
    stage: str = ""


@cache
def facts() -> Mapping[str, Any]:
    """Return ``knowledge.toml``."""
    return tomllib.loads(files("lostgain.diagnosis").joinpath("knowledge.toml").read_text(encoding="utf-8"))


def known(
    unit: Unit,
    suspects: Sequence[str] = (),
    age: float | None = None,
    notes: Sequence[str] = (),
    new: Sequence[str] = (),
    stage: str = "",
) -> Knowledge:
    """Return what is known, checked against the unit and the notes there are.

    Raises
    ------
    UserError
        For a part or stage that the unit does not have, an age below zero, or a note that means nothing here.
    """
    problems = []
    names = {channel.called(name).upper() for channel in unit.channels for name in unit.parts}
    for part in suspects:
        if part.upper() not in names:
            problems.append(Problem(f"there is no part {part} in {unit.title}.", meant=_meant(part, names)))
    housings = names | {package(name) for name in names}
    for part in new:
        if part.upper() not in housings:
            problems.append(Problem(f"there is no part {part} in {unit.title}.", meant=_meant(part, housings)))
    spellings = {word: row["name"] for row in facts()["note"] for word in (row["name"], *row.get("also", ()))}
    chosen = []
    for note in notes:
        found = spellings.get(" ".join(note.lower().split()))
        if found is None:
            known = ", ".join(row["name"] for row in facts()["note"])
            message = f"'{note}' says nothing about what fails; notes are {known}."
            problems.append(Problem(message, meant=nearest(note, spellings)))
        else:
            chosen.append(found)
    stages = {each.casefold(): each for each in (*(each.name for each in unit.stages),
                                                 *(part.stage for part in unit.parts.values()))}  # fmt: skip
    if stage and stage.casefold() not in stages:
        message = f"there is no stage '{stage}' in {unit.title}; its stages are {', '.join(stages.values())}."
        problems.append(Problem(message, meant=nearest(stage, stages.values())))
    if age is not None and not 0 <= age < 200:
        problems.append(Problem(f"an age of {age:g} years can't be."))
    if problems:
        raise UserError(problems)
    upper = [tuple(part.upper() for part in each) for each in (suspects, new)]
    return Knowledge(upper[0], age, tuple(chosen), upper[1], stages.get(stage.casefold(), ""))


def stated(knowledge: Knowledge) -> tuple[str, ...]:
    """Return what is known, for people, with what follows from it."""
    said = [f"{part} is suspected (×{facts()['suspect']['times']:g})" for part in knowledge.suspects]
    said += [f"{part} is new (its own failures ×{facts()['new']['times']:g})" for part in knowledge.new]
    if knowledge.stage:
        said.append(f"the fault was found to be in {knowledge.stage} (elsewhere ×{facts()['stage']['elsewhere']:g})")
    if knowledge.age is not None:
        said.append(f"{knowledge.age:g} years old (electrolytics ×{_aged(knowledge.age):.2g})")
    rows = {row["name"]: row for row in facts()["note"]}
    for note in knowledge.notes:
        changes = ", ".join(_change(change) for change in rows[note]["change"])
        said.append(f"{rows[note]['says']} ({changes})")
    return tuple(said)


def _meant(part: str, names: set[str]) -> str:
    """Return the nearest names, or else those that begin with the same letter."""
    alike = sorted((name for name in names if name[:1] == part[:1].upper()), key=lambda name: (len(name), name))
    return nearest(part, names) or (
        f"There are {', '.join(alike[:SHOWN])}{' …' * (len(alike) > SHOWN)}." if alike else ""
    )


def factors(table: Table, faults: Sequence[Fault], channel: Channel, knowledge: Knowledge) -> NDArray[np.float64]:
    """Return the factor on each fault's prior in a channel: array, (fault,).

    Parameters
    ----------
    table : Table
    faults : sequence of Fault
    channel : Channel
        Whose designators the suspected parts are compared with.
    knowledge : Knowledge
    """
    rows = {row["name"]: row for row in facts()["note"]}
    result = np.ones(len(faults))
    for number, fault in enumerate(faults):
        kind = "cluster" if fault.members else table.circuit.parts[fault.part].part.kind
        called = fault.part if fault.shared else channel.called(fault.part)
        if knowledge.stage and knowledge.stage not in {each.stage for each in fault.members or (fault,)}:
            result[number] *= facts()["stage"]["elsewhere"]
        if called.upper() in knowledge.suspects:
            result[number] *= facts()["suspect"]["times"]
        if called.upper() in knowledge.new or package(called.upper()) in knowledge.new:
            result[number] *= facts()["new"]["fitting" if fault.mode in facts()["new"]["fitted"] else "times"]
            continue  # neither its age nor what happened to the unit before is the new part's
        if knowledge.age is not None and kind in facts()["age"]["kinds"]:
            result[number] *= _aged(knowledge.age)
        for note in knowledge.notes:
            for change in rows[note]["change"]:
                if _concerns(change, kind, fault.mode):
                    result[number] *= change["times"]
    return result


def _aged(years: float) -> float:
    row = facts()["age"]
    return float(2 ** (max(0.0, years - row["from_years"]) / row["doubles_years"]))


def _concerns(change: Mapping[str, Any], kind: str, mode: str) -> bool:
    family = kinds()[kind].family if kind in kinds() else kind
    of_kind = "kinds" not in change or kind in change["kinds"] or family in change["kinds"]
    return of_kind and ("modes" not in change or mode in change["modes"])


def _change(change: Mapping[str, Any]) -> str:
    what = " ".join([*change.get("kinds", ()), *change.get("modes", ())])
    return f"{what} ×{change['times']:g}"
