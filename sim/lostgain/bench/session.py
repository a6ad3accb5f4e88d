"""A session at the bench: readings taken one at a time, taken back and corrected, and written down as they come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from lostgain.diagnosis.knowledge import Knowledge
from lostgain.diagnosis.match import match
from lostgain.diagnosis.model import Verdict
from lostgain.diagnosis.next_model import Next, NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.faults import Rates
from lostgain.problems import Problem, UserError, Where
from lostgain.readings import Reading, Readings, read, write
from lostgain.readings.model import OFF, SIGNS, UNITS, WHOLE_UNIT
from lostgain.readings.points import Finder
from lostgain.readings.taken import What, what
from lostgain.readings.typed import check_level, implied_channel, place_cells, typed
from lostgain.readings.values import parse
from lostgain.readings.words import quantity as quantity_of
from lostgain.signatures import Table, power_off
from lostgain.signatures.poweroff import Progress
from lostgain.unit import called


@dataclass
class Session:
    """What has been read so far, and what to read next.

    Parameters
    ----------
    table : Table
    path : Path
        The readings file, written after every change.
    rates : Rates
    knowledge : Knowledge or None
    live : bool
        False for a unit that must not be switched on.
    """

    table: Table
    path: Path
    rates: Rates
    knowledge: Knowledge | None = None
    live: bool = True
    readings: Readings = field(default_factory=lambda: Readings(()))
    passed: set[What] = field(default_factory=set)

    def open(self) -> int:
        """Go on from what the file holds, if there is one; return how many readings that is."""
        if self.path.exists():
            self.readings = read(self.path, self.table.circuit.unit, may_be_empty=True)
        else:
            self.readings = Readings((), path=self.path)  # a file is made with the first reading
        return len(self.readings.rows)

    def save(self) -> None:
        """Write the file, whole or not at all."""
        part = self.path.with_name(f"{self.path.name}.part")
        try:
            write(part, self.readings, self.table.circuit.unit)
            part.replace(self.path)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise UserError(Problem(f"cannot be written: {error.strerror or error}.", Where(self.path))) from error

    def lacks(self) -> bool:
        """Tell whether a reading with the power off was taken where the table was not simulated yet."""
        off = self.table.off
        mine = [each for each in self.readings.rows if each.quantity in OFF]
        return any(off.spot(each.instrument, each.point, each.against, each.lifted) is None for each in mine)

    def simulate(self, progress: Progress | None = None) -> None:
        """Simulate what `lacks` tells of."""
        self.table = power_off(self.table, self.readings.rows, progress=progress)

    def verdict(self) -> Verdict | None:
        """Return the suspects, or None before anything was read that can be compared."""
        if not self.readings.rows:
            return None
        try:
            return match(self.table, self.readings, self.rates, self.knowledge)
        except UserError:  # only readings of quantities that the table does not hold
            return None

    def step(self, verdict: Verdict | None) -> Next:
        """Return what to do next, without what the technician passed over."""
        step = next_reading(self.table, self.readings, verdict, self.rates, self.knowledge, most=10_000, live=self.live)
        left = [each for each in step.ranked if not isinstance(each, NextReading) or what(each) not in self.passed]
        return replace(step, ranked=tuple(left))

    def pass_over(self, reading: NextReading) -> None:
        """Ask for another reading than this one, until something is read."""
        self.passed.add(what(reading))

    def cells_of(self, reading: NextReading | Reading) -> dict[str, str]:
        """Return the cells of a readings file that name a reading, without its value."""
        channels = self.table.circuit.unit.channels
        channel = next((one for one in channels if one.name == reading.channel), channels[0])
        cells = {"test point": called(channel, reading.point), "quantity": reading.quantity,
                 "channel": reading.channel, "instrument": reading.instrument}  # fmt: skip
        if isinstance(reading, Reading) and reading.lifted:
            cells["test point"] += " lifted"
        if reading.against:
            cells["against"] = called(channel, reading.against)
        if reading.frequency is not None:
            cells["frequency"] = f"{reading.frequency:.15g} Hz"
        if reading.generator is not None:
            cells["generator level"] = f"{reading.generator:.15g} V rms"
        return cells

    def place(self, text: str) -> dict[str, str]:
        """Return the cells that a place typed by the technician fills, checked.

        Raises
        ------
        UserError
            If there is no such place.
        """
        unit, last = self.table.circuit.unit, self.readings.rows[-1].channel if self.readings.rows else ""
        cells = place_cells(unit, text)
        check_level(unit, cells)
        quantity = cells.get("quantity", "")
        if "channel" not in cells and (name := implied_channel(unit, cells, last) or last):
            cells["channel"] = name
        if (
            "channel" not in cells
            and len(unit.channels) > 1
            and quantity_of(quantity) not in (*WHOLE_UNIT, *OFF, *SIGNS)
        ):
            names = " or ".join(f"{cells['test point']}, {each.name}" for each in unit.channels)
            raise UserError(Problem(f"'{text}': of which channel?", meant=f"Type {names}."))
        value = f"1 {UNITS[name]}" if (name := quantity_of(quantity)) in OFF else "nothing"
        typed(self.table.circuit.unit, {**cells, "value": value}, self.readings.good)
        return cells

    def take(self, cells: Mapping[str, str], value: str, unit: str = "", at: int | None = None) -> tuple[str, ...]:
        """Write a reading down and return warnings.

        Parameters
        ----------
        cells : mapping
            Names the reading.
        value : str
            As typed.
        unit : str
            What a bare number counts in.
        at : int or None
            Which reading it replaces; None for one more.

        Raises
        ------
        UserError
            If it is no reading; nothing is then changed.
        """
        text = f"{value} {unit}" if unit and _is_number(value) else value
        found = typed(self.table.circuit.unit, {**cells, "value": text}, self.readings.good)
        rows = list(self.readings.rows)
        if at is not None:
            rows[at : at + 1] = found.rows
        else:
            rows += found.rows
        barred = tuple(dict.fromkeys([*self.readings.unreachable, *found.unreachable]))
        good = found.good or self.readings.good
        self._change(replace(self.readings, rows=tuple(rows), unreachable=barred, good=good))
        return found.warnings

    def take_back(self, at: int = -1) -> Reading | None:
        """Take a reading back, the last one unless another is named; return it, or None where there is none."""
        rows = list(self.readings.rows)
        if not rows:
            return None
        gone = rows.pop(at)
        self._change(replace(self.readings, rows=tuple(rows)))
        return gone

    def reachable_again(self, text: str) -> None:
        """Forget that a test point can't be reached.

        Raises
        ------
        UserError
            If there is no such test point.
        """
        cells = place_cells(self.table.circuit.unit, text)
        point, _ = typed(self.table.circuit.unit, {**cells, "value": "can't reach"}).unreachable[0]
        self._change(replace(self.readings, unreachable=tuple(e for e in self.readings.unreachable if e[0] != point)))

    def good_channel(self, name: str) -> None:
        """Say which channel is known to be good; none for an empty text.

        Raises
        ------
        UserError
            If there is no such channel.
        """
        try:
            good = Finder(self.table.circuit.unit).good(name) if name else ""
        except ValueError as error:
            raise UserError(str(error)) from error
        self._change(replace(self.readings, good=good))

    def _change(self, readings: Readings) -> None:
        before, self.readings = self.readings, readings
        try:
            self.save()
        except UserError:
            self.readings = before
            raise
        self.passed.clear()


def is_value(text: str, reading: NextReading | Reading) -> bool:
    """Tell whether a typed text is a value of a reading, if perhaps a wrong one, rather than another place."""
    if _is_number(text):
        return True
    try:
        parse(text, reading.quantity)
    except ValueError as error:
        return "is no reading" not in str(error) and text[:1] in "<>≤≥~≈+-.0123456789"
    return True


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True
