"""One reading typed at a prompt, read by the same rules as a line of a readings file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from lostgain.problems import Problem, UserError, nearest
from lostgain.quantities import measure, show
from lostgain.readings.model import OFF, WHOLE_UNIT, Readings
from lostgain.readings.read import _Reader
from lostgain.readings.table import Row, Sheet
from lostgain.readings.words import quantities, quantity
from lostgain.unit.model import Unit

_TYPED = Path("typed")


def typed(unit: Unit, cells: Mapping[str, str], good: str = "") -> Readings:
    """Return one typed reading, or a test point that can't be reached.

    Parameters
    ----------
    unit : Unit
    cells : mapping
        Column of a readings file to its text: ``test point``, ``value``, ``quantity`` …
    good : str
        The channel known to be good, for "same as good".

    Raises
    ------
    UserError
        With what is wrong; its problems name no file.
    """
    reader = _Reader(_TYPED, unit, Sheet((), (), {}, (), ()))
    reader.good, reader.may_be_empty = good, True
    reader.take(Row(1, dict(cells)))
    try:
        found = reader.finish()
    except UserError as error:
        # What is typed has no file and no line to name.
        raise UserError([Problem(each.message, meant=each.meant) for each in error.problems]) from error
    if not found.rows and not found.unreachable:
        raise UserError(found.warnings[-1].split(": ", 1)[-1] if found.warnings else "no value was given.")
    return replace(found, warnings=tuple(text.split(": ", 1)[-1] for text in found.warnings))


def implied_channel(unit: Unit, cells: Mapping[str, str], last: str = "") -> str:
    """Return the channel that the designators of a place imply; empty if they imply none.

    Parameters
    ----------
    unit : Unit
    cells : mapping
        From `place_cells`.
    last : str
        Where was read before: what that channel calls otherwise is then the first channel's.
    """
    reader = _Reader(_TYPED, unit, Sheet((), (), {}, (), ()))
    try:
        found = reader.cells.known(cells["test point"], quantity(cells.get("quantity", "")))
    except ValueError:
        return ""
    if not found.channel and last and reader.cells.finder.own(found.point, last) != found.point:
        return unit.channels[0].name
    return found.channel


def place_cells(unit: Unit, text: str) -> dict[str, str]:
    """Return the cells that a typed place fills: ``U2 pin 1, 40 Hz`` or ``U2 pin 1, dc, Zone B``.

    Parameters
    ----------
    unit : Unit
    text : str
        A test point; then, after commas, a quantity, a frequency, a generator level, a channel or an instrument in any
        order.

    Raises
    ------
    UserError
        If a piece is none of these.
    """
    reader = _Reader(_TYPED, unit, Sheet((), (), {}, (), ()))
    pieces = [piece.strip() for piece in text.split(",")]
    head = next((found for piece in pieces[1:] if (found := quantity(piece)) in (*OFF, *WHOLE_UNIT)), "")
    # The name of a test point may hold a comma itself ("R14, hot end"): the longest run that is one is the point.
    for count in range(len(pieces), 0, -1):
        point = ", ".join(pieces[:count])
        try:
            reader.cells.known(point, head)
        except ValueError as error:
            if count == 1:
                raise UserError(str(error)) from error
            continue
        pieces = pieces[count:]
        break
    cells = {"test point": point}
    for piece in filter(None, pieces):
        cells[_column(reader, piece, quantity(piece))] = piece
    return cells


def check_level(unit: Unit, cells: Mapping[str, str]) -> None:
    """Refuse a generator level that the set-up has not: what was read stands behind an equals sign.

    Parameters
    ----------
    unit : Unit
    cells : mapping
        From `place_cells`.

    Raises
    ------
    UserError
        With the levels that the table knows.
    """
    piece, setup = cells.get("generator level", ""), unit.setup
    reader = _Reader(_TYPED, unit, Sheet((), (), {}, (), ()))
    if piece and reader.cells.generator(piece) not in (None, *setup.levels):
        levels = ", ".join(show(each, "V rms") for each in (setup.generator, *setup.levels))
        meant = f"A value that was read stands behind an equals sign: {cells['test point']} = {piece}."
        raise UserError(Problem(f"'{piece}' is none of the generator's levels ({levels}).", meant=meant))


def _is_volts(piece: str) -> bool:
    """Tell whether a piece is a level of the generator: a number of volts, or of dBu."""
    try:
        measure(piece, "voltage")
    except ValueError:
        return False
    return True


def _known(reader: _Reader) -> list[str]:
    """Return what may stand behind a test point, frequencies apart."""
    channels = [channel.name for channel in reader.unit.channels]
    return [*quantities(), *channels, *reader.cells.instruments]


def _column(reader: _Reader, piece: str, quantity: str) -> str:
    if quantity:
        return "quantity"
    tries = (("channel", reader.cells.channel), ("instrument", reader.cells.instrument))
    for column, known in tries:
        try:
            known(piece)
        except ValueError:
            continue
        return column
    if _is_volts(piece):
        return "generator level"
    try:
        reader.cells.frequency(piece)
    except ValueError as error:
        message = f"'{piece}' is no quantity, frequency, generator level, channel or instrument."
        raise UserError(Problem(message, meant=nearest(piece, _known(reader)))) from error
    return "frequency"
