"""Whether an instrument fits what was read with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import isfinite

from lostgain.problems import Problem, UserError
from lostgain.quantities import show
from lostgain.readings.model import COMMON, PEAKS, Instrument, Reading, Readings
from lostgain.readings.words import words
from lostgain.unit.model import Unit

_UNITS = {
    "level": "V",
    COMMON: "V",
    "dc": "V",
    "ripple": "Vpp",
    "current": "A",
    "diode test": "V",
    "resistance": "ohm",
    "esr": "ohm",
}


#: What to do with a reading at another frequency than the set-up's.
HOLD = "Read at one of those, or put this one into frequencies under [setup] in the unit file."
HOLD_LEVEL = "Read at one of those, or put this one into levels under [setup] in the unit file."
SUPPLY = "Describe it with [mains] and [[supply]], or read a level or DC."


def misfits(reading: Reading, instrument: Instrument) -> Iterator[str]:
    """Yield what the technician should know of a reading that its instrument doesn't quite fit."""
    low, high = instrument.bandwidth
    at = reading.frequency
    if at is not None and reading.value is not None and not low <= at <= high:
        yield f"{instrument.name} reads from {show(low, 'Hz')} to {show(high, 'Hz')}; {show(at, 'Hz')} lies outside."
    if reading.quantity == "level" and reading.given_as in PEAKS and instrument.responds != "pp":
        yield f"{instrument.name} shows no {reading.given_as} value; was it another instrument?"
    if reading.word and words()[reading.word].comparison == "shape" and instrument.responds != "pp":
        yield f"{instrument.name} shows no picture; '{reading.word}' is taken as seen on an oscilloscope."
    if reading.against and instrument.earthed:
        yield (
            f"an oscilloscope's clip is earthed, and on {reading.against} it shorts that to earth: subtract two "
            "channels, or use a multimeter."
        )


def not_simulated(lines: Mapping[float, Sequence[int]], unit: Unit) -> Iterator[str]:
    """Yield, once for each frequency that the set-up does not have, in which lines it stands and what to do.

    Parameters
    ----------
    lines : mapping
        Frequency [Hz] to the lines it stands in.
    unit : Unit
    """
    known = ", ".join(show(each, "Hz") for each in unit.setup.frequencies)
    for frequency, found in lines.items():
        listed = ", ".join(map(str, found[:10])) + (" …" if len(found) > 10 else "")
        yield (
            f"line {listed}: {show(frequency, 'Hz')} is none of the set-up's frequencies ({known}); a level read there "
            f"has nothing to be compared with. {HOLD}"
        )


def levels_not_simulated(lines: Mapping[float, Sequence[int]], unit: Unit) -> Iterator[str]:
    """Yield, once for each generator level that the set-up does not have, in which lines it stands and what to do.

    Parameters
    ----------
    lines : mapping
        Level [V rms] to the lines it stands in.
    unit : Unit
    """
    for level, found in lines.items():
        listed = ", ".join(map(str, found[:10])) + (" …" if len(found) > 10 else "")
        yield (
            f"line {listed}: {show(level, 'V rms')} is none of the set-up's generator levels ({_levels(unit)}); what "
            f"is read with it has nothing to be compared with. {HOLD_LEVEL}"
        )


def too_far(reading: Reading, unit: Unit) -> Iterator[str]:
    """Yield what is wrong with a reading at a further generator level and another frequency than the first."""
    setup = unit.setup
    if reading.generator in setup.levels and reading.frequency in setup.frequencies[1:]:
        yield (
            f"with the generator at {show(reading.generator or 0.0, 'V rms')}, only {show(setup.frequencies[0], 'Hz')} "
            "is simulated; this reading has nothing to be compared with."
        )


def _levels(unit: Unit) -> str:
    return ", ".join(show(each, "V rms") for each in (unit.setup.generator, *unit.setup.levels))


def refuse_unsimulated(readings: Readings, unit: Unit) -> None:
    """Refuse a file in which no reading is of anything that is simulated of this unit.

    Parameters
    ----------
    readings : Readings
    unit : Unit
        Nothing is simulated at other frequencies than its set-up's, and no ripple where it has no supply.

    Raises
    ------
    UserError
        With every line.
    """
    found = [(row.where, *_unsimulated(row, unit)) for row in readings.rows]
    if found and all(why for _, why, _ in found):
        raise UserError([Problem(why, where, meant) for where, why, meant in found])


def _unsimulated(row: Reading, unit: Unit) -> tuple[str, str]:
    """Return why a reading has nothing to be compared with, and what to do; empty where it has."""
    if row.quantity == "ripple" and not unit.supplies:
        return "ripple is known only where the unit file describes the supply, and this one does not.", SUPPLY
    own = unit.setup.frequencies
    if row.generator is not None and row.generator not in unit.setup.levels:
        return (
            f"{show(row.generator, 'V rms')} is none of the set-up's generator levels ({_levels(unit)}), and no "
            "reading of this file is at one of them: there is nothing to compare with."
        ), HOLD_LEVEL
    if said := next(too_far(row, unit), ""):
        return said, HOLD
    if row.frequency is None or row.frequency in own:
        return "", ""
    known = ", ".join(show(each, "Hz") for each in own)
    return (
        f"{show(row.frequency, 'Hz')} is none of the set-up's frequencies ({known}), and no reading of this file is at "
        "one of them: there is nothing to compare with."
    ), HOLD


def over_range(point: str, quantity: str, state: str, instrument: Instrument) -> tuple[float | None, str]:
    """Return what a reading without a number is above [V rms], [V] or [A], and what to say of it.

    Parameters
    ----------
    point, quantity : str
        `quantity` is empty where the line doesn't say.
    state : str
        ``over range``, or ``off screen``: the screen as it was set, which is nothing known.
    instrument : Instrument

    Returns
    -------
    (float or None, str)
        None where it is left out.
    """
    largest = instrument.largest(quantity)
    if state == "off screen":
        return None, f"{point} was {state}; left out. Read it at more volts a division, or write for example > 40 Vpp."
    if not quantity:
        return None, f"{point} was over range; left out, since the line doesn't say of which quantity."
    if not isfinite(largest):
        return None, f"{point} was over range; left out. Read it on a higher range, or write for example > 10 V rms."
    if _UNITS[quantity] == "ohm":
        limit = show(largest, "ohm")
    else:
        limit = f"{largest:g} {_UNITS[quantity]}" + (" rms" if quantity == "level" else "")
    return largest, (
        f"over range at {point} is taken as more than {limit}, the largest that {instrument.name} reads. "
        "On a lower range, write > and that range instead."
    )
