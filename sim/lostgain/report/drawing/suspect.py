"""The stage of a suspect, drawn with the suspected part marked."""

from __future__ import annotations

from pathlib import Path

from lostgain.diagnosis.model import Suspect
from lostgain.report.drawing.draw import draw_stage
from lostgain.report.shares import percent
from lostgain.unit.drawing import drawing
from lostgain.unit.model import Unit
from lostgain.unit.placed_stage import PlacedStage


def suspect_stage(unit: Unit, suspect: Suspect, path: Path | str) -> Path | None:
    """Draw the stage of a suspect, with its part, or all parts that fail together, marked.

    Parameters
    ----------
    unit : Unit
    suspect : Suspect
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.

    Returns
    -------
    Path or None
        None where the part is in no stage of the library, or in one that has no drawing.

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    fault = suspect.fault
    stage = next((each for each in unit.stages if each.name == fault.stage and each.source == "library"), None)
    if stage is None or drawing(stage.library) is None:
        return None
    channel = next((each for each in unit.channels if each.name == suspect.channel), unit.channels[0])
    named = {fault.part, *(member.part for member in fault.members)}
    marked = {unit.parts[name].role for name in named if name in unit.parts and unit.parts[name].stage == stage.name}
    said = f"Marked: {suspect.part} {suspect.mode}, {percent(suspect.probability)}: {suspect.severity_text}"
    return draw_stage(stage.library, path, PlacedStage(unit, stage, channel), marked, said)
