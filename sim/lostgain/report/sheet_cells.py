"""What stands in the cells of a bench sheet: texts shared by the page, the PDF and the terminal."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lostgain.bench.cautions import Caution
from lostgain.bench.sheet_model import Expected, OutOfReach, Picture, Range, Row, Sheet, Step
from lostgain.quantities import PP_PER_RMS, show

#: Said of a unit that describes no real equipment, where its own words do not.
INVENTED = "An invented example."
#: What a caution's severity is called.
SEVERITIES = {"danger": "DANGER", "damage": "CARE", "note": "NOTE"}
#: When a caution holds, in the order of the bench.
WHEN = {"before": "before anything else", "off": "power off", "limiter": "first power-up", "signal": "with signal"}


@dataclass(frozen=True)
class Line:
    """One line of a step: something to read, in words.

    Parameters
    ----------
    what : str
        ``500 Hz``, ``DC``, ``check``.
    healthy : str
        ``1.10 V rms``, or what to see.
    healthy_pp : str
        The same as peak-to-peak; empty where there is none.
    range : str
        ``1.04 … 1.16 V rms``; empty where there is none.
    """

    what: str
    healthy: str
    healthy_pp: str = ""
    range: str = ""


def heading(sheet: Sheet) -> str:
    """Return the sheet's title."""
    return f"Bench sheet: {sheet.title}"


def subtitle(sheet: Sheet) -> str:
    """Return the line below the title."""
    told = not sheet.invented or "invented" in sheet.about.lower()
    return sheet.about if told else f"{sheet.about} {INVENTED}".strip()


#: Fields to fill in by hand at the top of the sheet.
BY_HAND = ("Job", "Serial", "Date", "Name")


def columns(sheet: Sheet) -> tuple[str, ...]:
    """Return the headings of the columns for the readings: the channels, side by side."""
    return sheet.channels if len(sheet.channels) > 1 else ("reading",)


def shared(sheet: Sheet) -> str:
    """Return what stands over the one reading of a place that all channels share."""
    return "all channels" if len(sheet.channels) > 1 else ""


def short_names(channels: tuple[str, ...]) -> tuple[str, ...]:
    """Return what tells channels apart, short: ``A`` and ``B`` for Zone A and Zone B, ``Up`` and ``Down``."""
    words = [name.split() for name in channels]
    own = [[word for word in mine if sum(word in others for others in words) == 1] for mine in words]
    names = tuple(mine[0][:6] if mine else "" for mine in own)
    return names if all(names) and len(set(names)) == len(names) else tuple(str(i) for i in range(1, len(names) + 1))


def caution_lead(caution: Caution) -> str:
    """Return what stands in front of a caution's text: ``DANGER, power off. Stored energy.``"""
    return f"{SEVERITIES[caution.severity]}, {WHEN[caution.when]}: {caution.topic}."


def step_title(number: int, step: Step) -> str:
    """Return a step's heading with its number."""
    return f"{number}  {step.title}"


def effort(step: Step) -> str:
    """Return the time and the probe moves of a step."""
    places = "1 place" if step.moves == 1 else f"{step.moves} places"
    return f"{places}, about {minutes(step.minutes)}"


def minutes(value: float) -> str:
    """Return a time at the bench: ``4 min``, ``1 h 10 min``."""
    whole = math.ceil(value)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60} min".replace(" 0 min", "")


def row_note(row: Row) -> str:
    """Return the small print under a place: what it is or the stage it lies in, and its minutes where it takes long."""
    notes = [row.note or row.stage]
    if row.minutes > 1:
        notes.append(f"{minutes(row.minutes)} to reach")
    return ", ".join(notes)


def lines(row: Row) -> list[Line]:
    """Return what to read at a place."""
    return [_line(expected) for expected in row.expected]


def _line(expected: Expected) -> Line:
    if expected.volts is None:
        return Line("ripple" if expected.quantity == "ripple" else "check", expected.text)
    if math.isnan(expected.volts.nominal):
        return Line(_what(expected), "not computed")
    if expected.quantity == "dc":
        return _dc_line(expected.volts, expected.floor)
    return _level_line(expected, expected.volts, expected.swing)


def _what(expected: Expected) -> str:
    return "DC" if expected.frequency is None else show(expected.frequency, "Hz")


def _dc_line(volts: Range, floor: float) -> Line:
    if max(abs(volts.low), abs(volts.high)) < floor:
        return Line("DC", "0 V", range=f"within ±{show(floor, 'V')}")
    step = floor / 20  # finer than the instrument tells apart
    low, middle, high = (round(value / step) * step for value in (volts.low, volts.nominal, volts.high))
    healthy = "0 V" if abs(middle) < floor else f"{'+' * (middle > 0)}{show(middle, 'V')}"
    return Line("DC", healthy, range=span(low, high, "V", signed=True))


def _level_line(expected: Expected, volts: Range, swing: Range | None) -> Line:
    what, floor = _what(expected), expected.floor
    if volts.nominal < floor:
        most = f"up to {show(volts.high, 'V rms')}" if volts.high > floor else ""
        return Line(what, f"< {show(floor, 'V rms')}", f"< {show(floor * PP_PER_RMS, 'Vpp', 2)}", most)
    shown = show(swing.nominal, "Vpp") if swing is not None else ""
    return Line(what, show(volts.nominal, "V rms"), shown, span(volts.low, volts.high, "V rms"))


def span(low: float, high: float, unit: str, signed: bool = False) -> str:
    """Return a range with its unit once where both ends have the same: ``1.04 … 1.16 V``, ``-12 … +15 mV``."""
    one, other = show(low, unit), show(high, unit)
    if signed:
        one, other = (f"+{text}" if value > 0 else text for text, value in ((one, low), (other, high)))
    if one == other:
        return one
    if one.split(" ", 1)[1] == other.split(" ", 1)[1]:
        one = one.split(" ", 1)[0]
    return f"{one} … {other}"


def picture_scale(picture: Picture) -> str:
    """Return the settings of the oscilloscope: ``500 mV/div, 500 µs/div``."""
    return f"{show(picture.volts_a_division, 'V')}/div, {show(picture.seconds_a_division, 's')}/div"


def no_picture(row: Row) -> str:
    """Return what stands in the place of a picture, where a row of the signal step has none."""
    return "a flat line" if any(one.quantity == "level" for one in row.expected) else ""


def out_of_reach(point: OutOfReach) -> str:
    """Return where to read instead of a point that a probe does not get to."""
    names = " / ".join(point.names)
    instead = f"; read {' and '.join(point.instead)} instead" if point.instead else ""
    return f"{names} ({point.stage}){instead}"


def has_pictures(step: Step) -> bool:
    """Tell whether a step has oscilloscope pictures."""
    return any(row.picture for row in step.rows)


def has_levels(step: Step) -> bool:
    """Tell whether a step reads levels, which have a peak-to-peak column."""
    return any(one.quantity == "level" for row in step.rows for one in row.expected)


def only_checks(step: Step) -> bool:
    """Tell whether a step has looks with the ohmmeter only, so no range column."""
    return all(one.quantity == "check" for row in step.rows for one in row.expected)


def closing(sheet: Sheet) -> str:
    """Return the line at the foot of the sheet."""
    return f"lostgain, signature table {sheet.table}"
