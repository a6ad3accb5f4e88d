"""A session at the bench, in the terminal: suspects in a few lines, readings taken, what is asked."""

from __future__ import annotations

from lostgain.diagnosis import Verdict
from lostgain.diagnosis.next_model import NextReading
from lostgain.faults.listing import is_shared
from lostgain.quantities import show, show_level
from lostgain.readings.model import LEVELS, UNITS, Reading, Readings
from lostgain.readings.taken import at_text
from lostgain.report.places import place_text
from lostgain.report.shares import percent
from lostgain.report.text_layout import table, wrapped
from lostgain.unit import called
from lostgain.unit.model import Unit

#: Suspects shown after each reading.
SHOWN = 5

HELP = """\
  340 mV rms        the value of the reading asked for; or a word: nothing,
                    low, same as good, clipped, half missing …
  can't reach       the probe doesn't get there
  (empty line)      ask for another reading instead
  U2 pin 1, 40 Hz   take this reading instead; dc, a generator level, a channel
                    or an instrument may follow after commas
  U2 pin 1, dc = 0.2 V   … and its value at once
  R14, resistance   across a part, with the power off; C12, esr; Q3 base to Q3
                    emitter, diode test; R14 lifted, resistance: out of circuit
  back              take the last reading back;  back 3  takes reading 3 back
  correct 3 = 1 V   reading 3 was another value
  reach U2 pin 1    it can be reached after all
  good Zone B       the channel known to be good
  list              the readings so far
  more              suspects in full, and everything that could be read next
  end               end here (Ctrl-D and Ctrl-C do the same); nothing is lost"""


def suspects_text(verdict: Verdict | None) -> str:
    """Return the leading suspects in a few lines."""
    if verdict is None:
        return ""
    lines = []
    for each in verdict.suspects[:SHOWN]:
        if each.probability < 0.01:
            break
        share = f"  {percent(each.probability):>7}   "
        lines += wrapped(f"{each.severity_text} ({place_text(each)})", " " * 12, share)
    for chance, text in ((verdict.healthy, "nothing is wrong"), (verdict.unexplained, "something else")):
        if chance >= 0.01 or not lines:
            lines += wrapped(text, " " * 12, f"  {percent(chance):>7}   ")
    return "\n".join(lines)


def asked_text(reading: NextReading | Reading, unit: Unit) -> str:
    """Return what is asked for: ``U2 pin 1 (Zone A), level at 40 Hz``."""
    channel = next((one for one in unit.channels if one.name == reading.channel), unit.channels[0])
    part = unit.parts.get(reading.point.split()[0])
    if part is not None and is_shared(part, unit):
        channel, place = unit.channels[0], ""
    else:
        place = f" ({reading.channel})" if len(unit.channels) > 1 and reading.channel else ""
    if reading.against:
        place = f" to {called(channel, reading.against)}{place}"
    if isinstance(reading, Reading) and reading.lifted:
        place = f" lifted{place}"
    at = at_text(reading.frequency, reading.generator)
    return f"{called(channel, reading.point)}{place}, {reading.quantity}{at}"


def bare_unit(reading: NextReading | Reading) -> str:
    """Return the unit that a bare number counts in."""
    if reading.quantity not in LEVELS:
        return UNITS.get(reading.quantity, "V")
    return {"pp": "Vpp", "peak": "Vpk", "dBu": "dBu"}.get(reading.given_as, "V rms")


def value_shown(reading: Reading) -> str:
    """Return a reading's value as it is listed."""
    if reading.word:
        return reading.word
    value = reading.value or 0.0
    unit = UNITS.get(reading.quantity, "V")
    shown = show_level(value, reading.given_as) if reading.quantity in LEVELS else show(value, unit)
    return f"{'< ' if reading.below else '> ' if reading.above else ''}{shown}"


def readings_text(readings: Readings, unit: Unit) -> str:
    """Return the readings so far, numbered."""
    rows = [[f"{number}", asked_text(row, unit), value_shown(row), row.instrument]
            for number, row in enumerate(readings.rows, 1)]  # fmt: skip
    lines = table(rows, "><<<") if rows else ["  No reading so far."]
    for point, channel in readings.unreachable:
        lines += wrapped(f"{point}{f' ({channel})' if channel else ''} can't be reached.", "  ", "  ")
    if readings.good:
        lines += wrapped(f"{readings.good} is known to be good.", "  ", "  ")
    return "\n".join(lines)
