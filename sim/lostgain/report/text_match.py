"""A verdict, for the terminal: what to read first, the suspects, their look-alikes, and what speaks for and against."""

from __future__ import annotations

import math

from lostgain.diagnosis import Limits, Suspect, Tried, Verdict
from lostgain.diagnosis.model import Evidence
from lostgain.quantities import figures, show, show_level
from lostgain.readings import SIGNS, Readings
from lostgain.readings.model import COMMON, LEVELS, UNITS, Reading
from lostgain.report.places import place_text
from lostgain.report.shares import percent
from lostgain.report.text_layout import counted, joined, section, table, wrapped
from lostgain.unit import called
from lostgain.unit.model import Unit

#: Suspects listed, at most, and down to which probability.
LISTED, LEAST = 12, 0.005
#: Suspects shown with their evidence: those at the head of their group, at most so many.
EXPLAINED = 3
#: A reading speaks for or against where it makes the suspect so many times more or less likely than a healthy unit.
SPEAKS = 2.0
#: What the last column of the evidence means.
SAID = (
    "Speaks for or against: how many times likelier or less likely a reading is with that fault than from a healthy "
    f"unit; — where that is less than {SPEAKS:g} times."
)


def verdict_text(
    verdict: Verdict, unit: Unit, readings: Readings, limits: Limits | None = None, tried: Tried | None = None
) -> str:
    """Return a verdict.

    Parameters
    ----------
    verdict : Verdict
    unit : Unit
    readings : Readings
        What was matched.
    limits : Limits or None
        What no reading can tell.
    tried : Tried or None
        Pairs of failures, where no single one explains the readings.
    """
    count = f"{verdict.used} reading{'' if verdict.used == 1 else 's'} of {readings.path.name}"
    heading = wrapped(f"{unit.title}: {count}")
    if unit.invented:
        heading += ["An invented example."]
    leading = [each for each in verdict.suspects[:LISTED] if each.probability >= LEAST] or list(verdict.suspects[:1])
    return joined(
        [
            heading,
            _warnings(verdict),
            _suspects(verdict, leading),
            _look_alikes(verdict, leading),
            _pairs(tried),
            _checks(verdict),
            *[_evidence(each, unit) for each in _explained(leading)],
            wrapped(SAID) if any(each.evidence for each in leading) else [],
            _limits(limits),
            wrapped(f"Failure rates: {verdict.rates}."),
            wrapped(f"Taken into account: {'; '.join(verdict.knowledge)}.") if verdict.knowledge else [],
            [f"Signature table: {verdict.table}"],
        ]
    )


def _warnings(verdict: Verdict) -> list[str]:
    if not verdict.warnings:
        return []
    return [*section("Read first"), *[line for each in verdict.warnings for line in wrapped(each, "    ", "  ! ")]]


def _suspects(verdict: Verdict, leading: list[Suspect]) -> list[str]:
    lines = section("Suspects, with their probability given these readings")
    for number, each in enumerate(leading, 1):
        lines += _entry(f"{number}.", each.probability, f"{each.part} {each.mode} ({place_text(each)})")
        lines += wrapped(each.severity_text, " " * 16)
    many = len(verdict.suspects) - len(leading)
    if many > 0:
        shown = sum(each.probability for each in leading)
        rest = max(0.0, 1 - shown - verdict.healthy - verdict.unexplained)
        lines += _entry("", rest, f"{many} other faults together, each less likely than those above")
    lines += _entry("", verdict.healthy, "nothing is wrong: these are readings of a healthy unit")
    lines += _entry("", verdict.unexplained, "something else: a fault that is not in the table, or several at once")
    for path in verdict.elsewhere:
        place = f"{' / '.join(path.stages)}, {path.channel}"
        text = f"of that, {percent(path.probability)}: {path.text} ({place}), be it solder, dirt or another fault there"
        lines += wrapped(text, " " * 16)
    if not verdict.faulty:
        lines += wrapped("These readings do not call the unit faulty: a healthy one may read like this.", "  ")
    return lines


def _entry(number: str, share: float, text: str) -> list[str]:
    return wrapped(text, " " * 14, f"  {number:>3} {percent(share):>6}  ")


def _look_alikes(verdict: Verdict, leading: list[Suspect]) -> list[str]:
    shown = {each.group for each in leading}
    rows = []
    for group in verdict.groups:
        if group.number not in shown or len(group.suspects) < 2:
            continue
        listed = [f"{each.part} {each.mode}" for each in leading if each.group == group.number]
        unlisted = len(group.suspects) - len(listed)  # less likely than all above: their names would only puzzle
        more = f" and {unlisted} more that {'is' if unlisted == 1 else 'are'} not listed above" if unlisted else ""
        rows.append([percent(group.probability), ", ".join(listed) + more])
    if not rows:
        return []
    return [*section("Look-alikes: these readings cannot tell them apart"), *table(rows, "><")]


def _pairs(tried: Tried | None) -> list[str]:
    if tried is None:
        return []
    lines = section("Two at once: pairs that would explain these readings together")
    for each in tried.pairs[:5]:
        lines += _entry("", each.probability, f"{each.text} ({each.channel})")
    if not tried.pairs:
        lines += wrapped("None of the pairs that were tried explains them either.", "  ", "  ")
    within = "" if tried.tried == tried.possible else f" in the {tried.seconds:g} s that there are for it"
    said = f"{tried.tried} of {tried.possible} pairs tried{within}, at the table's severities and nominal values."
    return [*lines, *wrapped(said, "  ", "  ")]


def _limits(limits: Limits | None) -> list[str]:
    if limits is None:
        return []
    lines = []
    for names in limits.inseparable:
        listed = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
        lines += wrapped(f"No level or DC reading in reach tells these apart: {listed}.", "    ", "  ")
    if limits.unmarked:
        parts = sorted({name.split()[0] for name in limits.unmarked}, key=counted)
        listed = ", ".join(parts[:10]) + (f" and {len(parts) - 10} more" if len(parts) > 10 else "")
        lines += wrapped(
            f"{len(limits.unmarked)} faults leave no mark at the points in reach, whatever is read; "
            f"they are faults of {listed}.", "    ", "  ",
        )  # fmt: skip
    return [*section("What readings cannot tell here"), *lines] if lines else []


def _explained(leading: list[Suspect]) -> list[Suspect]:
    """The most probable suspects, one of each group."""
    heads: dict[int, Suspect] = {}
    for each in leading:
        if each.evidence:
            heads.setdefault(each.group, each)
    return list(heads.values())[:EXPLAINED]


def _evidence(suspect: Suspect, unit: Unit) -> list[str]:
    rows = [_row(each, unit) for each in suspect.evidence]
    title = f"{suspect.part} {suspect.mode}, {percent(suspect.probability)}: what it predicts beside what was read"
    heads = ["Test point", "", "Read", "Predicted", "9 in 10 within", "Speaks"]
    return [*section(title), *table(rows, "<>>>><", heads)]


def _checks(verdict: Verdict) -> list[str]:
    """Say what readings with the power off tell of parts by themselves."""
    if not verdict.checks:
        return []
    return [*section("With the power off"), *(line for text in verdict.checks for line in wrapped(text, "    ", "  "))]


def _row(each: Evidence, unit: Unit) -> list[str]:
    reading = each.reading
    if reading.quantity in SIGNS:
        return [_place(reading, unit), reading.quantity, reading.word, "", "", speaks(each.weight)]
    frequency = reading.frequency if reading.quantity != COMMON else None
    drive = f" at {show(reading.generator, 'V')}" if reading.generator else ""
    what = show(frequency, "Hz") + drive if frequency else reading.quantity.replace("mains watts", "watts")
    read = reading.word or _bound(reading) + _shown(reading.value or 0.0, reading)
    return [_place(reading, unit), what, read, _shown(each.predicted, reading), _ends(each), speaks(each.weight)]


def _place(reading: Reading, unit: Unit) -> str:
    channel = next((one for one in unit.channels if one.name == reading.channel), unit.channels[0])
    pair = f" to {called(channel, reading.against)}" if reading.against else ""
    return (called(channel, reading.point) or "whole channel") + pair + (" lifted" if reading.lifted else "")


def _bound(reading: Reading) -> str:
    return "<" if reading.below else ">" if reading.above else ""


def _shown(value: float, reading: Reading) -> str:
    """Return a value in the unit its reading was given in; next to nothing as such."""
    if reading.quantity in LEVELS:
        if value < 0.5e-3 and reading.given_as != "dBu":
            return "nothing"
        return show_level(max(value, 0.0), reading.given_as)
    unit = UNITS.get(reading.quantity, "V")
    least = {"V": 0.5e-3, "ohm": 0.5e-3}.get(unit, 0.5e-6)
    return f"0 {'Ω' if unit == 'ohm' else unit}" if abs(value) < least else show(value, unit)


def _ends(each: Evidence) -> str:
    """Return the range of a prediction, its unit once where both ends have the same: ``174 … 229 mV rms``."""
    low, high = _shown(each.low, each.reading), _shown(each.high, each.reading)
    number, _, unit = low.partition(" ")
    return f"{number} … {high}" if unit and unit == high.partition(" ")[2] else f"{low} … {high}"


def speaks(weight: float) -> str:
    """Return what a reading says of a suspect: ``for, ×20``, ``against, ×20``, or ``—`` where it says next to nothing.

    Parameters
    ----------
    weight : float
        Natural logarithm of how much more likely the reading is under the suspect than from a healthy unit.
    """
    if abs(weight) < math.log(SPEAKS):
        return "—"
    side = "for" if weight > 0 else "against"
    times = math.exp(min(abs(weight), 20.0))
    return f"{side}, >×1000" if times > 1000 else f"{side}, ×{figures(times, 2)}"
