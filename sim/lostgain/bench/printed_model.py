"""The comparison of printed values with the simulated healthy unit, as plain records and in sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from lostgain.problems import Where
from lostgain.quantities import show

#: Slips told, where several explain the printed values.
MOST_TOLD = 6


@dataclass(frozen=True)
class PrintedLine:
    """One printed value beside the simulated one.

    Parameters
    ----------
    point : str
        Test point.
    quantity : str
        ``level`` or ``dc``.
    printed : float
        [V rms] for a level, [V] for DC.
    text : str
        As the user wrote it.
    simulated : float
        The same in the simulated healthy unit; NaN where it has none.
    low, high : float
        The printed value agrees when it lies between these.
    where : Where
        File and line of the printed value.
    """

    point: str
    quantity: str
    printed: float
    text: str
    simulated: float
    low: float
    high: float
    where: Where = Where()

    @property
    def agrees(self) -> bool:
        """Whether the printed value lies in the range of the simulated one."""
        return self.low <= self.printed <= self.high

    def sentence(self) -> str:
        """Return the comparison in words."""
        unit = "V rms" if self.quantity == "level" else "V DC"
        printed = f"{self.where}: {self.text} is printed at {self.point} ({self.quantity})"
        if math.isnan(self.simulated):
            return f"{printed}; the simulated healthy unit has no value there, its run did not converge."
        here = f"{show(self.simulated, unit)} there ({show(self.low, unit)} to {show(self.high, unit)})"
        return f"{printed}; the simulated healthy unit has {here}."


@dataclass(frozen=True)
class Slip:
    """One possible slip.

    Parameters
    ----------
    parts : tuple of str
        Designators, or rails' names.
    kind : str
        ``value``, ``swapped``, ``rail``, ``set-up`` or ``printed``.
    text : str
        What should stand there instead: ``R14 as 220 kΩ rather than 22 kΩ``.
    where : Where
        The line in the unit file; of the first part where two are swapped.
    values : mapping
        Element of the flat circuit to the value it would have (SI).
    unusual : int
        0 for the slips made most often, more for rarer ones (common practice, no source).
    drive : float
        What the generator's level is multiplied by.
    printed : tuple of (str, str, float) or None
        Point, quantity and value [V] that is meant, for a slip in a printed value.
    """

    parts: tuple[str, ...]
    kind: str
    text: str
    where: Where
    values: Mapping[str, float]
    unusual: int = 0
    drive: float = 1.0
    printed: tuple[str, str, float] | None = None


@dataclass(frozen=True)
class Explanation:
    """A slip that would explain printed values that do not agree.

    Parameters
    ----------
    slip : Slip
    lines : tuple of PrintedLine
        All printed values beside those of the unit without the slip.
    mended : tuple of PrintedLine
        Those of `lines` that did not agree before and do now.
    misfit : float
        The largest difference left, in units of what is allowed: 0 is a perfect match.
    """

    slip: Slip
    lines: tuple[PrintedLine, ...]
    mended: tuple[PrintedLine, ...]
    misfit: float

    @property
    def complete(self) -> bool:
        """Whether every printed value agrees then."""
        return all(line.agrees for line in self.lines)

    def sentence(self) -> str:
        """Return the explanation in words, with the line to look at."""
        first = self.mended[0]
        more = len(self.mended) - 1
        rest = f" and {more} more printed value{'s' if more > 1 else ''}" if more else ""
        where = self.slip.where
        place = f"{where.file.name}, line {where.line}" if where.file and where.line else str(where)
        left = [line for line in self.lines if not line.agrees]
        but = f", but not the printed {left[0].text} at {left[0].point}" if left else ""
        text = self.slip.text[0].upper() + self.slip.text[1:]
        if self.slip.printed is not None:
            return f"{text} would agree ({place})."
        return f"{text} would give the printed {first.text} at {first.point}{rest} ({place}){but}."


@dataclass(frozen=True)
class PrintedReport:
    """Printed values against the simulated healthy unit, and the slips that would explain a difference.

    Parameters
    ----------
    lines : tuple of PrintedLine
        Every printed value, in signal order.
    explanations : tuple of Explanation
        The likeliest first; those that explain everything come before those that explain a part.
    tried, known : int
        Slips that were tried, and that would have been without the time limit.
    allowance : str
        How far a printed value may lie off.
    """

    lines: tuple[PrintedLine, ...]
    explanations: tuple[Explanation, ...] = ()
    tried: int = 0
    known: int = 0
    allowance: str = ""

    @property
    def off(self) -> tuple[PrintedLine, ...]:
        """Printed values that do not agree."""
        return tuple(line for line in self.lines if not line.agrees)

    def sentences(self) -> list[str]:
        """Return the comparison in words, what matters first; empty where nothing is printed."""
        if not self.lines:
            return []
        if not self.off:
            return [f"All {len(self.lines)} printed values agree with the simulated healthy unit ({self.allowance})."]
        out = [line.sentence() for line in self.off]
        told = self.explanations[:MOST_TOLD]
        complete = [one for one in told if one.complete]
        if complete:
            out.append(
                "A slip in the unit file is likelier than a failed part; one of these explains every printed value:"
            )
            out += [one.sentence() for one in complete]
        elif told:
            out.append("No single slip explains every printed value; these explain a part of them:")
            out += [one.sentence() for one in told]
        else:
            out.append(
                f"None of the {self.tried} slips tried explains this: values by ten, hundred or thousand, parts of a "
                "stage swapped, rails wrong, the printed value itself. Compare the stage ahead of the first such point "
                "with the schematic, and the set-up with the one its notes give."
            )
        if self.tried < self.known:
            out.append(f"Stopped by the time limit after {self.tried} of {self.known} slips.")
        return out
