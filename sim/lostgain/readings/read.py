"""A readings file, as a technician types it into a spreadsheet, to readings."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.quantities import measure, show
from lostgain.readings.instruments import called, instruments, spoken
from lostgain.readings.model import Instrument, Reading, Readings
from lostgain.readings.points import Finder
from lostgain.readings.table import Row, Sheet, read_sheet
from lostgain.readings.values import Value, parse
from lostgain.readings.words import quantities, quantity, words
from lostgain.unit.model import Unit

T = TypeVar("T")

#: Columns and what else a technician may head them.
COLUMNS: dict[str, tuple[str, ...]] = {
    "test point": ("point", "testpoint", "where", "place", "node", "tp", "measured at", "probe", "probe at"),
    "quantity": ("what", "kind", "type", "measurement"),
    "value": ("reading", "measured", "result", "read"),
    "frequency": ("freq", "f", "generator", "generator frequency", "hz"),
    "channel": ("chan", "ch", "side", "zone"),
    "instrument": ("with", "meter", "measured with", "probe type"),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
}
REQUIRED = ("test point", "value")

#: What a comment line ``# good channel: Zone A`` may set for the whole file.
SETTINGS = ("good channel", "channel", "instrument", "frequency")

#: After so many mistakes the rest of the file is not read: it is then not what it was taken for.
MOST_MISTAKES = 100

#: Most warnings that are given, and the longest cell other than a note [characters].
MOST_WARNINGS = 100
LONGEST = 80

#: A frequency this near to one of the set-up's is that one: a generator's dial is no counter.
NEAR = 0.02


def read(path: str | Path, unit: Unit, may_be_empty: bool = False) -> Readings:
    """Return the readings in a CSV file.

    Only test point and value must be given; the rest is filled in: the quantity from the value's unit, the set-up's
    middle frequency and instrument, the only channel or the one in whose designators the test point is named.

    Parameters
    ----------
    path : str or Path
    unit : Unit
        The unit they were taken on.
    may_be_empty : bool
        True for a file that is still being written: no reading in it is then no mistake.

    Raises
    ------
    UserError
        With every mistake in the file, by line.
    """
    path = Path(path)
    sheet = read_sheet(path, COLUMNS, REQUIRED)
    reader = _Reader(path, unit, sheet)
    reader.may_be_empty = may_be_empty
    for row in sheet.rows:
        if len(reader.problems) >= MOST_MISTAKES:
            break
        reader.take(row)
    return reader.finish()


class _Reader:
    """Collects the readings, warnings and mistakes of one file."""

    def __init__(self, path: Path, unit: Unit, sheet: Sheet) -> None:
        self.path, self.unit, self.units = path, unit, sheet.units
        self.finder = Finder(unit)
        self.instruments = instruments(unit.folder)
        self.called = called(unit.folder)
        self.rows: list[Reading] = []
        self.seen: dict[tuple[str, str, str, float | None, str], Reading] = {}
        self.problems = list(sheet.problems)
        self.warnings = list(sheet.warnings)
        self.unreachable: list[tuple[str, str]] = []
        self.empty: list[int] = []
        self.good = self.channel = ""
        self.may_be_empty = False
        self.instrument = self._setup_instrument()
        self.frequency = unit.setup.frequencies[0]
        for line, text in sheet.comments:
            self._setting(line, text)

    def _setup_instrument(self) -> str:
        name = self.unit.setup.instrument
        if name not in self.instruments:
            message = f"the set-up names an instrument '{name}' that isn't known."
            raise UserError(Problem(message, self.unit.setup.where, nearest(name, self.instruments)))
        return name

    def _setting(self, line: int, text: str) -> None:
        """Take a comment line that sets something for the whole file; leave any other alone."""
        if not (match := re.fullmatch(r"([^:=]{2,30}?)\s*[:=]\s*(.+)", text)):
            return
        key, value = " ".join(match[1].casefold().split()), match[2].strip()
        if key not in SETTINGS:
            if near := difflib.get_close_matches(key, SETTINGS, n=1, cutoff=0.8):
                self._wrong(line, f"'# {match[1]}:' sets nothing.", f"Did you mean '# {near[0]}:'?")
            return
        try:
            if key == "good channel":
                self.good = self.finder.channel(value)
            elif key == "channel":
                self.channel = self.finder.channel(value)
            elif key == "instrument":
                self.instrument = self._instrument(value)
            else:
                self.frequency = self._frequency(value, line)
        except ValueError as error:
            self._wrong(line, str(error))

    def _wrong(self, line: int | None, message: str, meant: str = "") -> None:
        self.problems.append(Problem(message, Where(self.path, line), meant))

    def _warn(self, line: int, message: str) -> None:
        self.warnings.append(f"{Where(self.path, line)}: {message}")

    def take(self, row: Row) -> None:
        """Read one line, and note what is wrong with each of its cells."""
        before = len(self.problems)
        line, cell = row.line, {name: " ".join(text.split()) for name, text in row.cells.items()}.get
        if wordy := [name for name, text in row.cells.items() if name != "note" and len(text) > LONGEST]:
            self._wrong(line, f"the {wordy[0]} is longer than {LONGEST} characters.", "Put remarks in the note column.")
            return
        named = self._try(line, "", self.finder.channel, cell("channel", ""))
        instrument = self.instruments[self._try(line, self.instrument, self._instrument, cell("instrument", ""))]
        frequency = self._try(line, self.frequency, self._frequency, cell("frequency", ""), line)
        try:
            point, channel = self._point(cell("test point", ""), named)
            value = self._value(line, cell("quantity", ""), cell("value", ""), instrument)
        except ValueError as error:
            self._wrong(line, str(error))
            return
        if value is None or len(self.problems) > before:
            return
        if value.state:
            self._no_reading(line, value, point, channel)
        elif channel := channel or self._only_channel(line):
            self._keep(row, value, point, channel, instrument, frequency)

    def _try(self, line: int, default: T, reader: Callable[..., T], text: str, *rest: int) -> T:
        """Return what a cell says; the default where it is empty or, noting the mistake, where it is wrong."""
        try:
            return reader(text, *rest) if text else default
        except ValueError as error:
            self._wrong(line, str(error))
            return default

    def _instrument(self, text: str) -> str:
        if name := self.called.get(spoken(text)):
            return name
        raise ValueError(f"there is no instrument '{text}'. {nearest(text, self.instruments)}".rstrip())

    def _frequency(self, text: str, line: int) -> float:
        """Return a generator frequency [Hz]; ``middle``, ``low`` and ``high`` are those of the set-up."""
        own = self.unit.setup.frequencies
        plain = text.casefold()
        if plain in ("middle", "mid", "low", "high"):
            place = {"m": 0, "l": 1, "h": 2}[plain[0]]
            if place >= len(own):
                raise ValueError(f"the set-up has no {plain} frequency; write it in Hz.")
            return own[place]
        if (unit := self.units.get("frequency", "")) and re.fullmatch(r"[0-9.,]+", text):
            text = f"{text} {unit}"
        value = measure(text, "frequency").value
        for known in own:
            if abs(value / known - 1) <= NEAR:
                return known
        if line and not self.problems:
            shown = ", ".join(show(known, "Hz") for known in own)
            self._warn(line, f"{show(value, 'Hz')} is none of the set-up's frequencies ({shown}).")
        return value

    def _point(self, text: str, channel: str) -> tuple[str, str]:
        """Return the test point, and the channel where the line or the point's name tells it."""
        if not text:
            raise ValueError("this line names no test point.")
        point, implied = self.finder.point(text, channel)
        if implied and channel and implied != channel:
            raise ValueError(f"'{text}' is in {implied}, but the channel column says {channel}.")
        return point, channel or implied or self.channel

    def _value(self, line: int, said: str, text: str, instrument: Instrument) -> Value | None:
        """Return what the value cell says; None where it is left out, with a warning."""
        if not text:
            self.empty.append(line)
            return None
        head, unit = quantity(said), self.units.get("value", "")
        if said and not head:
            if not _is_unit(said):
                raise ValueError(f"there is no quantity '{said}'. {nearest(said, quantities())}".rstrip())
            unit = said  # a column headed "quantity" with Vpp or dBu in it
        if head and not quantities()[head].compared:
            self._warn(line, f"{head} is not compared with signatures; '{text}' is left out.")
            return None
        value = parse(text, head, unit, instrument.responds)
        if value.quantity and value.quantity not in instrument.quantities:
            raise ValueError(f"{instrument.name} ({instrument.title}) doesn't read {value.quantity}.")
        return value

    def _no_reading(self, line: int, value: Value, point: str, channel: str) -> None:
        if value.state == "over range":
            self._warn(line, f"{point} was over range; left out. Read it on a higher range, or through a x10 probe.")
        elif (point, channel) not in self.unreachable:
            self.unreachable.append((point, channel))

    def _only_channel(self, line: int) -> str:
        """Return the channel where there is only one; else note that the line has to name it."""
        names = [channel.name for channel in self.unit.channels]
        if len(names) == 1:
            return names[0]
        meant = f"Fill in the channel column ({' or '.join(names)}), or put a line '# channel: {names[0]}' at the top."
        self._wrong(line, "which channel was this read in?", meant)
        return ""

    def _keep(self, row: Row, value: Value, point: str, channel: str, instrument: Instrument, frequency: float) -> None:
        """Add a reading, with a warning where the instrument doesn't fit or it is there already."""
        at = frequency if quantities()[value.quantity].at_frequency else None
        low, high = instrument.bandwidth
        if at is not None and value.value is not None and not low <= at <= high:
            band = f"{show(low, 'Hz')} to {show(high, 'Hz')}"
            self._warn(row.line, f"{instrument.name} reads from {band}; {show(at, 'Hz')} lies outside.")
        if value.given_as in ("pp", "peak") and instrument.responds != "pp":
            self._warn(row.line, f"{instrument.name} shows no {value.given_as} value; was it another instrument?")
        if value.about:
            self._warn(row.line, f"'{row.cells['value']}' is taken as if it were read exactly.")
        reading = Reading(
            point=point,
            quantity=value.quantity,
            channel=channel,
            value=value.value,
            word=value.word,
            given_as=value.given_as,
            frequency=at,
            instrument=instrument.name,
            below=value.below,
            text=row.cells["value"],
            note=row.cells.get("note", ""),
            where=Where(self.path, row.line),
        )
        place = (point, value.quantity, channel, at, instrument.name)
        other = self.seen.setdefault(place, reading)
        if other is not reading:
            self._warn(row.line, f"read before, in line {other.where.line} ('{other.text}'); both are used.")
        self.rows.append(reading)

    def finish(self) -> Readings:
        """Return the readings, or raise every mistake."""
        self._check_good()
        if self.empty:
            lines = ", ".join(map(str, self.empty[:10])) + (" …" if len(self.empty) > 10 else "")
            self.warnings.append(f"{self.path}: no value in line {lines}; taken as not read.")
        if not self.problems and not self.rows and not self.may_be_empty:
            self._wrong(None, "there is no reading in this file.", "A reading is a line with a test point and a value.")
        if (more := len(self.warnings) - MOST_WARNINGS) > 0:
            self.warnings[MOST_WARNINGS:] = [f"{self.path}: {more} more warnings like these."]
        if self.problems:
            raise UserError(sorted(self.problems, key=lambda problem: problem.where.line or 0))
        return Readings(tuple(self.rows), tuple(self.warnings), self.path, tuple(self.unreachable), self.good)

    def _check_good(self) -> None:
        """Find out which channel "same as good" compares with, and refuse it where there is none."""
        rows = [row for row in self.rows if row.word and words()[row.word].comparison == "same"]
        names = [channel.name for channel in self.unit.channels]
        for row in rows:
            if len(names) == 1:
                message = f"'{row.text}' needs a second channel to compare with, and this unit has one."
                self._wrong(row.where.line, message, "Write the value that was read.")
                continue
            if not self.good and len(names) == 2:
                self.good = next(name for name in names if name != row.channel)
            if not self.good:
                message = f"'{row.text}': which channel is the good one?"
                self._wrong(row.where.line, message, f"Put a line '# good channel: {names[0]}' at the top.")
            elif row.channel == self.good:
                message = f"'{row.text}': {self.good} is the good channel itself."
                self._wrong(row.where.line, message, "Write the value that was read.")


def _is_unit(text: str) -> bool:
    """Tell whether a quantity cell holds a unit of voltage instead."""
    try:
        measure(f"1 {text}", "voltage")
    except ValueError:
        return False
    return not re.search(r"[0-9]", text)
