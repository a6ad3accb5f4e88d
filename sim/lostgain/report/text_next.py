"""What to read or do next, for the terminal: each line can be judged at the bench without the computer."""

from __future__ import annotations

from lostgain.diagnosis.next_model import Expectation, Instead, Move, Next, NextReading
from lostgain.quantities import figures, show, show_level
from lostgain.readings.model import LEVELS, OFF, UNITS, WHOLE_UNIT
from lostgain.readings.taken import at_text
from lostgain.report.text_layout import joined, section, wrapped
from lostgain.unit import called
from lostgain.unit.model import Unit

#: Readings and moves shown.
LINES = 5
#: Parts less probable than this are not named beside others.
LEAST = 0.02

_WHY = {
    "sure": "One part holds nine tenths of the probability:",
    "alike": "Nothing in reach tells these parts apart:",
    "idle": "No reading left would change what to do:",
    "healthy": "Nothing is wrong at these points.",
    "unexplained": "No fault in the table explains these readings.",
}


def next_text(step: Next, unit: Unit, most: int = LINES) -> str:
    """Return what to do next, best first, with what to expect.

    Parameters
    ----------
    step : Next
    unit : Unit
    most : int
        Readings and moves to show, at most.
    """
    head = section("What to do next")
    if step.stop:
        head += wrapped(conclusion(step, unit), "  ")
    listed = step.ranked if not step.stop else [each for each in step.ranked if each is not step.action]
    worth = [each for each in listed if each.information >= 0.005][:most]
    lines: list[str] = []
    for number, each in enumerate(worth, 1):
        lines += wrapped(f"{each_text(each, unit)} ({cost(each)})", "     ", f"  {number}. ")
        lines += _more(each)
    title = section("If that is not wanted yet") if step.stop else []
    if not step.stop:
        return joined([[*head, *lines], _instead(step)])
    return joined([head, [*title, *lines] if lines else [], _instead(step)])


def next_line(step: Next, unit: Unit) -> str:
    """Return the first line of it: what to do next, in one paragraph."""
    if step.stop:
        return conclusion(step, unit)
    best = step.ranked[0] if step.ranked else None
    if best is None:
        return "There is nothing left to read or do here."
    if isinstance(best, Move):
        return f"{_capital(best.text)}: it shows {best.shows} ({cost(best)})."
    said = foretold_text(best)
    return f"{_capital(each_text(best, unit))}{': ' if said else ''}{said} ({cost(best)})."


def conclusion(step: Next, unit: Unit) -> str:
    """Return why no further reading is asked for, and what to do."""
    if step.stop == "healthy":
        return f"{_WHY['healthy']} If the fault comes and goes, warm, cool and tap while the signal is watched."
    if step.stop == "unexplained":
        return f"{_WHY['unexplained']} Take the oddest reading again, and compare with a good channel."
    many = len(unit.channels) > 1
    held = [each for each in step.parts if each[2] >= LEAST] or list(step.parts[:1])
    names = [f"{part} ({channel})" if many and channel != "all" else part for part, channel, _ in held[:4]]
    act = f"{step.action.text}." if step.action is not None else f"look at {names[0]}." if names else ""
    if step.stop == "sure" or len(names) == 1:
        return f"{_capital(act)} {_WHY['sure'] if step.stop == 'sure' else _WHY['idle']} {names[0]}."
    listed = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "nothing"
    rest = f" (and {len(held) - 4} less likely)" if len(held) > 4 else ""
    return f"{listed}{rest} can't be told apart here: {act}"


def each_text(each: NextReading | Move, unit: Unit) -> str:
    """Return what to read or do: ``U2 pin 1, level at 500 Hz``, ``U2 pin 1, level at 500 Hz from 20 mV rms``."""
    if isinstance(each, Move):
        return each.text
    channel = next((one for one in unit.channels if one.name == each.channel), unit.channels[0])
    what = each.quantity + at_text(each.frequency, each.generator)
    place = f" in {each.channel}" if len(unit.channels) > 1 and each.channel else ""
    other = f" to {called(channel, each.against)}" if each.against else ""
    off = ", power off" if each.power == "off" else ""
    return f"{called(channel, each.point)}{other}{place}, {what}{off}"


def cost(each: NextReading | Move) -> str:
    """Return how long it takes and what it tells: ``1 min, 0.8 bit``."""
    told = f"{figures(each.information, 2)} bit" if each.information >= 0.01 else "tells next to nothing"
    return f"{figures(each.minutes, 2)} min, {told}"


def foretold_text(reading: NextReading) -> str:
    """Return what to expect: ``about 340 mV rms if C6 open, nothing if R12 open``."""
    groups: list[list[Expectation]] = []
    for each in reading.expectations:
        for group in groups:
            if same(group[0], each):
                group.append(each)
                break
        else:
            groups.append([each])
    parts = []
    for group in groups:
        named = [_named(each) for each in group]
        parts.append(f"{value_text(group[0], reading)} if {' or '.join(named)}")
    return ", ".join(parts)


def same(one: Expectation, other: Expectation) -> bool:
    """Tell whether two suspects predict the same reading: each one's middle lies in the other's range."""
    return one.low <= other.value <= one.high and other.low <= one.value <= other.high


def value_text(each: Expectation, reading: NextReading) -> str:
    """Return an expected value, as a range where it may be wide: ``about 340 mV rms``, ``nothing``."""
    wide = abs(each.high - each.low) > 0.5 * abs(each.value) and abs(each.high) > 2 * reading.floor
    if not wide:
        shown = _volts(each.value, reading)
        return shown if shown == "nothing" else f"about {shown}"
    low, high = _volts(each.low, reading), _volts(each.high, reading)
    return f"{low} to {high}" if low != high else f"about {low}"


def _volts(value: float, reading: NextReading) -> str:
    if reading.quantity in OFF:
        return "OL" if value > reading.largest else show(value, UNITS[reading.quantity], 2)
    if reading.quantity in WHOLE_UNIT:
        return show(value, UNITS[reading.quantity], 2)
    if reading.quantity not in LEVELS:
        unit = UNITS.get(reading.quantity, "V")
        return "0 V" if abs(value) < 0.5e-3 or abs(value) < reading.floor / 2 else show(value, unit, 2)
    return "nothing" if value < reading.floor else show_level(value, reading.given_as, 2)


def _named(each: Expectation) -> str:
    if not each.part:
        return "nothing is wrong"
    return f"{each.part} {each.mode}"


def _more(each: NextReading | Move) -> list[str]:
    if isinstance(each, NextReading):
        said = foretold_text(each)
        said += f"{'; ' if said else ''}{each.risk}" if each.risk else ""
        return wrapped(said, "       ") if said else []
    return wrapped(f"shows {each.shows}; power {each.power}; risk: {each.risk}", "       ")


def _instead(step: Next) -> list[str]:
    if not step.instead:
        return []
    lines = section("Out of reach")
    by_point: dict[tuple[str, str], list[Instead]] = {}
    for each in step.instead:
        by_point.setdefault((each.point, each.channel), []).append(each)
    for (point, _), places in by_point.items():
        near = [each.place for each in places if each.same_node]
        far = [each.place for each in places if not each.same_node]
        text = f"{point}: the same node at {' or '.join(near)}" if near else f"{point}:"
        if far:
            text += f"{';' if near else ''} nearly the same at {' or '.join(far)}"
        lines += wrapped(f"{text}.", "      ", "  ")
    return lines


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
