"""A readings file, as a technician types it into a spreadsheet, to readings."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple, TypeVar

from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.readings.cells import ALL, Cells
from lostgain.readings.columns import COLUMNS, REQUIRED, SETTINGS
from lostgain.readings.commas import parted
from lostgain.readings.fits import levels_not_simulated, misfits, not_simulated, over_range, too_far
from lostgain.readings.good import good_channel
from lostgain.readings.model import OFF, SIGNS, STATES, WHOLE_UNIT, Instrument, Reading, Readings
from lostgain.readings.pairs import Place
from lostgain.readings.sorts import refuse_another_sort
from lostgain.readings.table import Row, Sheet, read_sheet
from lostgain.readings.values import Value, parse, unit_of
from lostgain.readings.words import nearest_quantity, quantities, quantity
from lostgain.unit.model import Unit

T = TypeVar("T")

#: After so many mistakes the rest of the file is not read: it is then not what it was taken for.
MOST_MISTAKES = 100

#: Most warnings that are given, and the longest cell other than a note [characters].
MOST_WARNINGS = 100
LONGEST = 80


def read(path: str | Path, unit: Unit, may_be_empty: bool = False) -> Readings:
    """Return the readings in a CSV file.

    Only test point and value must be given; the rest is filled in: the quantity from the value's unit, the set-up's
    middle frequency and instrument, the only channel or the one in whose designators the test point is named.
    A current and mains watts are read of the whole unit, with the instrument that reads them.

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
    if not str(path).strip():
        raise UserError("say which readings file: a CSV file of readings of this unit.")
    path = Path(path)
    refuse_another_sort(path)
    sheet = read_sheet(path, COLUMNS, REQUIRED)
    reader = _Reader(path, unit, sheet)
    reader.may_be_empty = may_be_empty
    for row in sheet.rows:
        if len(reader.problems) >= MOST_MISTAKES:
            break
        reader.take(row)
    return reader.finish()


class Given(NamedTuple):
    """What the generator gave: frequency [Hz], and its level where that was not the set-up's [V rms]."""

    frequency: float
    generator: float | None


class _Reader:
    """Collects the readings, warnings and mistakes of one file."""

    def __init__(self, path: Path, unit: Unit, sheet: Sheet) -> None:
        self.path, self.unit, self.units = path, unit, sheet.units
        self.cells = Cells(unit, sheet.units)
        self.rows: list[Reading] = []
        self.seen: dict[tuple[object, ...], Reading] = {}
        self.problems = list(sheet.problems)
        self.warnings = list(sheet.warnings)
        self.unreachable: list[tuple[str, str]] = []
        self.empty: list[int] = []
        self.set: dict[str, tuple[int, str]] = {}
        self.strange: dict[float, list[int]] = {}
        self.odd_levels: dict[float, list[int]] = {}
        self.elsewhere: list[tuple[int, str, str, str]] = []
        self.good = self.channel = self.state = ""
        self.may_be_empty = False
        self.instrument = unit.setup.instrument
        self.frequency = unit.setup.frequencies[0]
        self.generator: float | None = None
        for line, text in sheet.comments:
            self._setting(line, text)

    def _setting(self, line: int, text: str) -> None:
        """Take a comment line that sets something for the whole file; leave any other alone."""
        if not (match := re.fullmatch(r"([^:=]{2,30}?)\s*[:=]\s*(.+)", text)):
            return
        key, value = " ".join(match[1].casefold().split()), match[2].strip()
        if key not in SETTINGS:
            if near := difflib.get_close_matches(key, SETTINGS, n=1, cutoff=0.8):
                self._wrong(line, f"'# {match[1]}:' sets nothing.", f"Did you mean '# {near[0]}:'?")
            return
        before, was = self.set.setdefault(key, (line, value))
        if was.casefold() != value.casefold():
            each = "Name one." if key == "good channel" else f"Fill in the {key} column instead."
            self._wrong(line, f"line {before} sets '# {key}: {was}' for the whole file, and this one {value}.", each)
            return
        try:
            if key == "good channel":
                self.good = self.cells.finder.good(value)
            elif key == "channel":
                self.channel = self.cells.finder.channel(value)
            elif key == "instrument":
                self.instrument = self.cells.instrument(value)
            elif key == "state":
                self.state = _state(value)
            elif key == "generator level":
                self.generator = self._generator(value, line)
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
        if "value" not in self.units and (number := parted(row.cells)):
            said = f"a decimal comma parts '{number}' into two cells."
            self._wrong(line, said, f'Write "{number}" in quotes or with a point, or put ; between the cells.')
            return
        named = self._try(line, "", self.cells.channel, cell("channel", ""))
        by = self._try(line, "", self.cells.instrument, cell("instrument", ""))
        frequency = self._try(line, self.frequency, self._frequency, cell("frequency", ""), line)
        generator = self._try(line, self.generator, self._generator, cell("generator level", ""), line)
        where = (cell("test point", ""), cell("against", ""), named)
        value: Value | None = None
        try:
            value = self._value(line, cell("quantity", ""), cell("value", ""), by)
            if value is None and (head := quantity(cell("quantity", ""))) and not quantities()[head].compared:
                return  # left out, wherever it was read
            at = self.cells.place(*where, value.quantity if value else "", self.channel)
            instrument = self.cells.reading_with(by, self.instrument, value.quantity if value else "")
        except ValueError as error:
            place_too = "" if value else self._place_wrong(where, quantity(cell("quantity", "")))
            self._wrong(line, place_too or str(error))
            return
        if value is None or len(self.problems) > before:
            return
        if value.quantity not in WHOLE_UNIT and (own := self.cells.named_elsewhere(*where[:2], at, value.quantity)):
            self.elsewhere.append((line, where[0], own, at.channel))
        if value.state and (value := self._no_number(line, value, at, instrument)) is None:
            return
        if not at.channel and value.quantity in OFF and self.cells.shared(at):
            at = at._replace(channel=self.unit.channels[0].name)  # what all channels share is read once
        channel = self._of_channel(line, value.quantity, at.channel, named)
        if channel is not None and len(self.problems) == before:
            self._keep(row, value, at._replace(channel=channel), instrument, Given(frequency, generator))

    def _place_wrong(self, where: tuple[str, str, str], head: str) -> str:
        """Return what is wrong with a line's place, whatever its value; empty if nothing is."""
        said = ""
        for assumed in (head,) if head else ("", *WHOLE_UNIT):
            try:
                self.cells.place(*where, assumed, self.channel)
            except ValueError as error:
                said = said or str(error)
            else:
                return ""
        return said

    def _try(self, line: int, default: T, reader: Callable[..., T], text: str, *rest: int) -> T:
        """Return what a cell says; the default where it is empty or, noting the mistake, where it is wrong."""
        try:
            return reader(text, *rest) if text else default
        except ValueError as error:
            self._wrong(line, str(error))
            return default

    def _frequency(self, text: str, line: int) -> float:
        """Return a generator frequency [Hz], and note where the set-up has none such."""
        value = self.cells.frequency(text)
        if value not in self.unit.setup.frequencies:
            self.strange.setdefault(value, []).append(line)
        return value

    def _generator(self, text: str, line: int) -> float | None:
        """Return a level of the generator [V rms], None for its own, and note where the set-up has none such."""
        value = self.cells.generator(text)
        if value is not None and value not in self.unit.setup.levels:
            self.odd_levels.setdefault(value, []).append(line)
        return value

    def _value(self, line: int, said: str, text: str, by: str) -> Value | None:
        """Return what the value cell says; None where it is left out, with a warning."""
        if not text:
            self.empty.append(line)
            return None
        head, unit = quantity(said), self.units.get("value", "")
        if said and not head:
            if (of := unit_of(said)) is None:
                raise ValueError(f"there is no quantity '{said}'. {nearest_quantity(said)}")
            head, unit = of, said  # a column headed "quantity" with Vpp or mA in it
        if head and not quantities()[head].compared:
            self._warn(line, f"{head} is not compared with signatures; '{text}' is left out.")
            return None
        if head in SIGNS and re.search(r"[0-9]", text):
            self._warn(line, f"{head} is compared as seen or not seen, not as a number; '{text}' is left out.")
            return None
        return parse(text, head, unit, self.cells.instruments[by or self.instrument].responds)

    def _no_number(self, line: int, value: Value, found: Place, instrument: Instrument) -> Value | None:
        """Note a point out of reach; return what is known of a reading over range, if anything."""
        if value.state == "can't reach":
            if found.against:
                self._wrong(line, "can't reach: which of the two leads?", "Give that test point a line of its own.")
            elif found.point and (away := (found.point, found.channel)) not in self.unreachable:
                self.unreachable.append(away)
            return None
        limit, said = over_range(found.point, value.quantity, value.state, instrument)
        self._warn(line, said)
        return None if limit is None else Value(value.quantity, limit, above=True)

    def _of_channel(self, line: int, quantity: str, channel: str, named: str) -> str | None:
        """Return a reading's channel, empty for what is read of the whole unit; None where the line has to name it."""
        if quantity in WHOLE_UNIT:
            if named not in ("", ALL) and len(self.unit.channels) > 1:
                self._warn(line, f"{quantity} is that of the whole unit, not of {named}.")
            return ""
        if named == ALL:
            if quantity in SIGNS:
                return ""
            self._wrong(line, f"{quantity} is read in one channel, not in all.", "Give each channel its line.")
            return None
        return channel or self._only_channel(line) or None

    def _only_channel(self, line: int) -> str:
        """Return the channel where there is only one; else note that the line has to name it."""
        names = [channel.name for channel in self.unit.channels]
        if len(names) == 1:
            return names[0]
        meant = f"Fill in the channel column ({' or '.join(names)}), or put a line '# channel: {names[0]}' at the top."
        self._wrong(line, "which channel was this read in?", meant)
        return ""

    def _keep(self, row: Row, value: Value, at: Place, instrument: Instrument, given: Given) -> None:
        """Add a reading, with a warning where the instrument doesn't fit or it is there already."""
        if value.about:
            self._warn(row.line, f"'{row.cells['value']}' is taken as if it were read exactly.")
        reading = Reading(
            point=at.point,
            quantity=value.quantity,
            channel=at.channel,
            value=value.value,
            word=value.word,
            given_as=value.given_as,
            frequency=given.frequency if quantities()[value.quantity].at_frequency else None,
            generator=given.generator if value.quantity == "level" else None,
            instrument=instrument.name,
            below=value.below,
            above=value.above,
            against=at.against,
            lifted=self.cells.lifted(row.cells.get("test point", ""), value.quantity),
            text=row.cells["value"],
            note=row.cells.get("note", ""),
            where=Where(self.path, row.line),
        )
        for said in (*misfits(reading, instrument), *too_far(reading, self.unit)):
            self._warn(row.line, said)
        key = (*at, value.quantity, reading.frequency, reading.generator, instrument.name, reading.lifted)
        other = self.seen.setdefault(key, reading)
        if other is not reading and value.quantity not in OFF:  # both ways round is what is asked for there
            self._warn(row.line, f"read before, in line {other.where.line} ('{other.text}'); both are used.")
        self.rows.append(reading)

    def finish(self) -> Readings:
        """Return the readings, or raise every mistake."""
        self.good, wrong, assumed = good_channel(self.rows, [channel.name for channel in self.unit.channels], self.good)
        self.problems += wrong
        self.warnings += [assumed] if assumed else []
        if self.empty:
            lines = ", ".join(map(str, self.empty[:10])) + (" …" if len(self.empty) > 10 else "")
            self.warnings.append(f"{self.path}: no value in line {lines}; taken as not read.")
        self._say_elsewhere()
        self.warnings += [f"{self.path}, {said}" for said in not_simulated(self.strange, self.unit)]
        self.warnings += [f"{self.path}, {said}" for said in levels_not_simulated(self.odd_levels, self.unit)]
        if not self.problems and not self.rows and not self.may_be_empty:
            left_out = [warning.removeprefix(f"{self.path}, ") for warning in self.warnings]
            usual = "A reading is a line with a test point and a value."
            self._wrong(None, "there is no reading in this file that can be used.", " ".join(left_out[:3]) or usual)
        if (more := len(self.warnings) - MOST_WARNINGS) > 0:
            self.warnings[MOST_WARNINGS:] = [f"{self.path}: {more} more warnings like these."]
        if self.problems:
            told = sorted(self.problems, key=lambda problem: problem.where.line or 0)[:MOST_MISTAKES]
            if (more := len(self.problems) - len(told)) > 0:
                told.append(Problem(f"and {more} more mistakes.", Where(self.path)))
            raise UserError(told)
        rows, away = tuple(self.rows), tuple(self.unreachable)
        return Readings(rows, tuple(self.warnings), self.path, away, self.good, self.state)

    def _say_elsewhere(self) -> None:
        """Warn once of lines in which a place is named as in the first channel, and the reading is of another."""
        if not self.elsewhere:
            return
        first = self.unit.channels[0].name
        line, text, own, channel = self.elsewhere[0]
        more = [str(each[0]) for each in self.elsewhere[1:]]
        said = f"'{text}' is what {first} calls it; taken as {own}, since the channel is {channel}."
        lines = ", ".join(more[:10]) + (" …" if len(more) > 10 else "")
        also = f" The same in line {lines}." if more else ""
        self._warn(line, f"{said} If it was read in {first}, the channel is wrong.{also}")


def _state(text: str) -> str:
    """Return the state of an intermittent unit."""
    plain = text.casefold().rstrip(".")
    if plain in STATES:
        return plain
    raise ValueError(f"there is no state '{text}'. {nearest(text, STATES)}".rstrip())
