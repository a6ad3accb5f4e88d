"""What should be read before the suspects: signs that the description, a reading or the table cannot be relied on."""

from __future__ import annotations

import numpy as np

from lostgain.diagnosis.apart import Step
from lostgain.diagnosis.features import unscaled
from lostgain.diagnosis.makers import LOOSE
from lostgain.diagnosis.observed import Observed
from lostgain.diagnosis.posterior import Posterior
from lostgain.quantities import show, show_level
from lostgain.readings import Readings
from lostgain.readings.model import UNITS, Reading
from lostgain.readings.taken import placed
from lostgain.signatures import Table
from lostgain.unit.model import Unit

#: A good channel further than this from the healthy unit, in standard deviations, does not fit the description.
MISFIT = 3.5
#: Above this share, none of the table's faults explains the readings.
ODD = 0.5
#: Readings that come about less often than this under the best hypothesis do not fit it.
POOR = 1e-5


def warnings(table: Table, posterior: Posterior, seen: Observed, readings: Readings) -> list[str]:
    """Return warnings, most important first.

    Parameters
    ----------
    table : Table
    posterior : Posterior
    seen : Observed
        All readings, also one that was left out of `posterior`.
    readings : Readings
    """
    found = posterior.found
    notes = _description(table, posterior, readings.good)
    if none_explains(posterior.unexplained, posterior.fit()):
        notes.append(
            f"None of the faults in the table explains these readings well.{_oddest(posterior, table.circuit.unit)}"
        )
    if readings.good and {channel for channel, _ in seen.latent} <= {readings.good}:
        notes.append(
            f"Every reading is of {readings.good}, the good channel: nothing is known yet of the one with the fault."
        )
    notes += [note for note in seen.left_out if not _told(note, readings)]
    notes += readings.warnings
    notes += [str(doubt) for doubt in table.circuit.unit.doubts]
    if found.blind:
        names = ", ".join(fault.label for fault in found.blind[:6])
        more = f" and {len(found.blind) - 6} more" if len(found.blind) > 6 else ""
        notes.append(f"Could not be simulated as far as was read, and therefore cannot be excluded: {names}{more}.")
    healthy = np.asarray(table.data.settled.values)[0]
    if not healthy.all():
        notes.append("The healthy unit's level did not settle at every frequency; its figures are less certain.")
    return notes


def none_explains(unexplained: float, fit: float) -> bool:
    """Tell whether it is said that none of the table's faults explains the readings well.

    Parameters
    ----------
    unexplained : float
        Its probability.
    fit : float
        As of `posterior.Posterior.fit`.
    """
    return unexplained > ODD or fit < POOR


def _told(note: str, readings: Readings) -> bool:
    """Whether the reading of the file has said it of that line already."""
    start, _, _ = note.partition(",")
    return start.startswith("line ") and any(f"{start}:" in each for each in readings.warnings)


def _oddest(posterior: Posterior, unit: Unit) -> str:
    """Name the reading furthest from what the best hypothesis predicts."""
    case = max(posterior.cases, key=lambda each: float(each.share.max()))
    best, seen = int(np.argmax(case.share)), posterior.seen
    if not len(seen.value):
        return ""
    mean, spread = case.predicted(best)
    off = (seen.value - mean) / np.sqrt(np.diag(spread))
    reading = seen.readings[int(np.argmax(np.abs(off)))]
    return f" Oddest beside the best of them: {placed(reading, unit)}, {reading.text or 'as read'}."


def _description(table: Table, posterior: Posterior, good: str) -> list[str]:
    """Say where the good channel lies outside the healthy range: the description does not fit this unit.

    A reading that was left out because it contradicts all others is told by itself.
    """
    notes = [_step(table, posterior, step) for step in posterior.apart]
    found, seen = posterior.found, posterior.seen
    healthy = np.diag(found.cov(np.zeros(1, dtype=int), kind=LOOSE)[0])
    for number, reading in enumerate(seen.readings):
        pick = seen.operator[number]
        at = int(np.argmax(np.abs(pick)))
        about = seen.features[seen.latent[at][1]]
        if not good or reading.channel != good or np.count_nonzero(pick) > 1:
            continue
        if about.is_level and posterior.apart:  # said by the steps
            continue
        feature = seen.latent[at][1]
        mean = found.mean[0, feature]
        sigma = np.sqrt(healthy[feature] + seen.common.always[at, at] + seen.noise[number, number])
        if abs(seen.value[number] - mean) > MISFIT * sigma:
            notes.append(_misfit(placed(reading, table.circuit.unit), reading, unscaled(float(mean), about)))
    return notes


def _step(table: Table, posterior: Posterior, step: Step) -> str:
    """Say where the good channel's levels are off; at the first one of all, the generator's may be."""
    seen, reading = posterior.seen, step.reading
    about = seen.about[next(place for place, each in enumerate(seen.readings) if each is reading)]
    expected = unscaled(float(posterior.found.mean[0, seen.features.index(about)]), about)
    place = placed(reading, table.circuit.unit)
    if step.alone:
        return _misfit(place, reading, expected)
    behind = "What both channels share from there on is allowed for."
    if not step.first:
        return f"{_misfit(place, reading, expected)} {behind}"
    set_up = table.drives[about.frequency].generator
    given = show_level(set_up * 10 ** (step.decibels / 20), digits=2)
    return (
        f"{place}, the good channel, reads {_read(reading)}, the description gives about "
        f"{_shown(reading, expected)}: the generator gives about {given} instead of {show_level(set_up)}, or the "
        f"description does not fit this unit there. {behind}"
    )


def _misfit(place: str, reading: Reading, expected: float) -> str:
    return (
        f"{place}, the good channel, reads {_read(reading)}, "
        f"the description gives about {_shown(reading, expected)}: it does not fit this unit there "
        "(revision, modification, earlier repair, or a slip in the transcription)."
    )


def _read(reading: Reading) -> str:
    return reading.text or _shown(reading, reading.value or 0.0)


def _shown(reading: Reading, value: float) -> str:
    """Return a value as a reading was given."""
    if reading.quantity == "level":
        return show_level(value, reading.given_as)
    return show(value, UNITS.get(reading.quantity, "V"))
