"""A unit explained, for the terminal: stage by stage, part by part."""

from __future__ import annotations

from collections.abc import Sequence

from lostgain.bench.sheet_model import Range
from lostgain.quantities import show, show_level
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.signatures.gains import StageGain
from lostgain.teach.explain import ExplainedPart, ExplainedPoint, ExplainedStage, Failure
from lostgain.unit.model import Unit


def explain_text(stages: Sequence[ExplainedStage], unit: Unit, frequencies: Sequence[float]) -> str:
    """Return a unit explained.

    Parameters
    ----------
    stages : sequence of ExplainedStage
    unit : Unit
    frequencies : sequence of float
        [Hz]
    """
    blocks = [heading(unit)]
    for each in stages:
        block = [*section(each.name), *wrapped(each.purpose)]
        block += wrapped(gain_text(each.gain, each.formula)) if gain_text(each.gain, each.formula) else []
        blocks.append(block)
        if each.points:
            rows = [(point.point.name + reach_text(point), *levels_text(point), point.about) for point in each.points]
            head = ["Healthy", *(show(one, "Hz") for one in frequencies), "DC", ""]
            blocks.append(table(rows, head=head))
        blocks += [_part(one) for one in each.parts]
    blocks.append(wrapped(closing()))
    return joined(blocks)


def heading(unit: Unit) -> list[str]:
    """Return what is explained, as lines."""
    lines = wrapped(f"{unit.title}, stage by stage")
    if unit.invented:
        lines.append("An invented example.")
    lines += wrapped(unit.about) if unit.about else []
    if len(unit.channels) > 1:
        lines += wrapped(f"Parts and test points are named as in {unit.channels[0].name}.")
    return lines


def closing() -> str:
    """Return what has to be said below."""
    return (
        "Failures are those of the signature table, each at its middle severity and with all other parts at nominal "
        "values; ranges hold nine healthy units of ten. Read the cautions (lostgain check) before anything is opened."
    )


def gain_text(gain: StageGain | None, formula: str) -> str:
    """Return a stage's gain: as the formula says, and as it was simulated."""
    said = f"Gain {formula}" if formula else ""
    if gain is None or not gain.gain or gain.gain[0] != gain.gain[0]:
        return f"{said}." if said else ""
    found = f"×{gain.gain[0]:.3g} from {gain.first} to {gain.last}"
    return f"{said}; {found}." if said else f"Gain {found}."


def reach_text(point: ExplainedPoint) -> str:
    """Return a remark on a point that no probe gets to."""
    return "" if point.point.reach else " (out of reach)"


def levels_text(point: ExplainedPoint) -> list[str]:
    """Return levels at each frequency, and DC."""
    levels = [show_level(each.nominal, "rms", 2) if each.nominal > 1e-4 else "0 V" for each in point.levels]
    return [*levels, volts_text(point.dc)]


def volts_text(value: Range) -> str:
    """Return a voltage."""
    return show(value.nominal, "V", 2) if abs(value.nominal) >= 1e-3 else "0 V"


def part_text(part: ExplainedPart) -> str:
    """Return a part and what it does: ``R4 22 kΩ: feedback, sets the gain``."""
    name = f"{part.part.designator} {part.value}".strip()
    return f"{name}: {part.does}." if part.does else name


def failure_text(failure: Failure) -> str:
    """Return a failure in one paragraph: what has happened, what it changes, what tells it."""
    told = telling_text(failure)
    return f"{failure.says[:1].upper()}{failure.says[1:]}. {' '.join(failure.sees[:3])}{' ' if told else ''}{told}"


def telling_text(failure: Failure) -> str:
    """Return the most telling reading; nothing where no reading shows the failure at all."""
    if failure.telling:
        return f"Most telling: {failure.telling}."
    return "" if any("leaves no mark" in each for each in failure.sees) else "No reading here marks it clearly."


def _part(part: ExplainedPart) -> list[str]:
    lines = wrapped(part_text(part), "      ", "  ")
    for each in part.failures:
        lines += wrapped(failure_text(each), "      ", "    - ")
    return lines
