"""What an apprentice types in a drill: a reading's place and quantity, and a part's designator."""

from __future__ import annotations

from dataclasses import replace

from lostgain.faults.listing import is_shared
from lostgain.problems import UserError, Where, nearest
from lostgain.readings import instruments
from lostgain.readings.instruments import called as instruments_called
from lostgain.readings.instruments import spoken
from lostgain.readings.model import COMMON, LEVELS, OFF, UNITS, WHOLE_UNIT, Instrument, Reading
from lostgain.readings.typed import implied_channel, place_cells, typed
from lostgain.readings.words import quantities
from lostgain.readings.words import quantity as quantity_of
from lostgain.teach.actions import acts
from lostgain.teach.hazards import safe_inside
from lostgain.teach.hidden import Bench, Hidden
from lostgain.unit import called
from lostgain.unit.channels import package
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Unit

#: Quantities that a drill simulates.
READ = ("level", COMMON, "dc", "ripple", "current", "distortion", *OFF, "capacitance")

#: What one would lift: a part as its board calls it, and the channel; ``all`` for one that all share.
Lifted = tuple[str, str]


def wanted_reading(unit: Unit, hidden: Hidden, bench: Bench, text: str, last: Reading | None) -> Reading:
    """Return the reading that a typed place asks for, without its value.

    Parameters
    ----------
    unit : Unit
    hidden : Hidden
    bench : Bench
    text : str
        ``U2 pin 1, 40 Hz``, ``R14, resistance``: as at ``lostgain bench``.
    last : Reading or None
        The one before: its channel is meant where none is named.

    Raises
    ------
    UserError
        If it is no reading that the bench can give.
    """
    if found := _of_rail(unit, bench, text) or _of_capacitor(unit, hidden, bench, text):
        return found
    try:
        cells = place_cells(unit, text)
    except UserError as error:
        raise _meant_otherwise(unit, text) or error from error
    asked = quantity_of(cells.get("quantity", "")) or ("level" if not cells.get("quantity") else "")
    quantity = "level" if asked == "distortion" else asked  # of the same signal
    if asked not in READ:
        raise UserError(f"a drill simulates no {asked or cells['quantity']}; it reads {', '.join(READ)}.")
    if quantity in LEVELS and "frequency" not in cells:
        cells["frequency"] = f"{bench.frequency!r} Hz"
    if len(unit.channels) > 1 and "channel" not in cells and quantity not in WHOLE_UNIT:
        cells["channel"] = _meant(unit, hidden, cells, last)
    named = "instrument" in cells
    by = instruments_called(unit.folder)[spoken(cells.pop("instrument"))] if named and asked == "distortion" else ""
    unit_of = UNITS[quantity] if quantity not in LEVELS else "V rms"
    found = typed(unit, {**cells, "quantity": quantity, "value": f"1 {unit_of}"}).rows[0]
    found = replace(found, quantity=asked, instrument=by or found.instrument)
    chosen = found.instrument if named else _chosen(unit, bench, found)
    found = replace(found, instrument=chosen, value=None, text="", where=Where())
    if quantity == "level" and "generator level" not in cells:
        found = replace(found, generator=None if bench.generator == unit.setup.generator else bench.generator)
    if found.channel not in ("", hidden.channel) and _alone(hidden):
        raise UserError(f"only {hidden.channel} is on the bench.")
    point = next((each for each in unit.points if each.name == found.point), None)
    if point is not None and not point.reach:
        raise UserError(f"a probe does not get to {found.point}.")
    if (found.channel, found.point) in bench.lifted and quantity in OFF:
        found = replace(found, lifted=True)
    if found.lifted and (found.channel or unit.channels[0].name, found.point.split()[0]) not in bench.lifted:
        raise UserError(f"{found.point} is not lifted: lift {found.point.split()[0]} first.")
    return found


def _meant(unit: Unit, hidden: Hidden, cells: dict[str, str], last: Reading | None) -> str:
    """Return the channel that a place is in: the one whose board has that name, else where the last reading was."""
    if implied := implied_channel(unit, cells):
        return implied
    if any(called(each, cells["test point"]) != cells["test point"] for each in unit.channels):
        return unit.channels[0].name
    return (last.channel if last else "") or hidden.channel


def _alone(hidden: Hidden) -> bool:
    return len(hidden.built) > 1 and not hidden.good


def _meant_otherwise(unit: Unit, text: str) -> UserError | None:
    """Return what to say of a line that is no reading: a part without a quantity, or an act misspelt; else None."""
    names = {each.called(name).upper() for each in unit.channels for name in unit.parts}
    names |= {package(name) for name in names}
    if (name := text.strip().upper()) in names:
        return UserError(
            f"{name} is a part: say what to read across it ({name}, resistance) or what to do (lift {name})."
        )
    word, blank, _ = text.strip().partition(" ")
    near = nearest(word.casefold(), acts())
    return UserError(f"'{word}' is no act and no test point. {near}") if blank and near.startswith("Did") else None


def _of_rail(unit: Unit, bench: Bench, text: str) -> Reading | None:
    """Return a reading of a rail, ``VP, dc`` or ``VP, current``; None where a text names none."""
    name, _, rest = (piece.strip() for piece in text.partition(","))
    rail = next((each.name for each in unit.rails if each.name.casefold() == name.casefold()), "")
    quantity = quantity_of(rest)
    if not rail or quantity not in ("dc", "current"):
        return None
    found = Reading(rail, quantity, "")
    return replace(found, instrument=_chosen(unit, bench, found))


def _of_capacitor(unit: Unit, hidden: Hidden, bench: Bench, text: str) -> Reading | None:
    """Return a reading of a capacitor's capacitance, ``C3, capacitance``; None where a text asks for none."""
    name, _, rest = text.rpartition(",")
    if quantity_of(rest.strip()) != "capacitance":
        return None
    channel, parts = part_of(unit, name, hidden.channel)
    if not is_capacitor(unit, parts[0]):
        raise UserError(f"{name.strip()} is no capacitor.")
    if channel != hidden.channel and _alone(hidden):
        raise UserError(f"only {hidden.channel} is on the bench.")
    if safe_inside(bench) and (channel, parts[0]) not in bench.lifted:
        raise UserError(f"in circuit a capacitance meter reads what lies across {name.strip()} too: "
                        f"lift {name.strip()} first.")  # fmt: skip
    found = Reading(parts[0], "capacitance", channel, lifted=True)
    return replace(found, instrument=_chosen(unit, bench, found))


def is_capacitor(unit: Unit, part: str) -> bool:
    """Tell whether a part, in designators of the first channel, is a capacitor."""
    return kinds()[unit.parts[part].kind].family == "capacitor"


def _chosen(unit: Unit, bench: Bench, reading: Reading) -> str:
    """Return the instrument of a reading: the one chosen by hand where it can read it, else the usual one.

    Across a pair the usual one is a meter, whose leads are both free.
    """
    known, quantity, usual = instruments(unit.folder), reading.quantity, reading.instrument
    wanted = [bench.instrument] if bench.instrument else []
    wanted += ["dmm-trms"] if quantity == "dc" or reading.against else []
    wanted += [quantities()[quantity].instrument or usual, usual, unit.setup.instrument]
    for name in wanted:
        function = dict(known[name].functions).get(quantity, name) if name in known else ""
        clip = bool(reading.against) and function in known and known[function].earthed and name != bench.instrument
        if function in known and quantity in known[function].quantities and not clip:
            return function
    raise UserError(f"no instrument here reads {quantity}{' across two points' if reading.against else ''}.")


def instrument_of(unit: Unit, reading: Reading) -> Instrument:
    """Return the instrument of a reading.

    Raises
    ------
    UserError
        If it does not read that quantity.
    """
    found = instruments(unit.folder)[reading.instrument]
    function = dict(found.functions).get(reading.quantity)
    found = instruments(unit.folder)[function] if function else found
    if reading.quantity not in found.quantities:
        raise UserError(f"{found.title} reads no {reading.quantity}.")
    return found


def part_of(unit: Unit, text: str, channel: str) -> tuple[str, tuple[str, ...]]:
    """Return the channel of a part that was typed, and its designators in the first channel.

    Parameters
    ----------
    unit : Unit
    text : str
        A designator of any channel, or of a package whose sections are parts.
    channel : str
        Meant where the designator is the same in all channels.

    Returns
    -------
    channel : str
    parts : tuple of str
        All sections of a package: it is one thing to unsolder.

    Raises
    ------
    UserError
    """
    wanted = text.strip().upper()
    for each in unit.channels:
        for name in unit.parts:
            here = each.called(name)
            if wanted in (here.upper(), package(here).upper()):
                others = [name for name in unit.parts if package(each.called(name)) == package(here)]
                same = here == unit.channels[0].called(name) and len(unit.channels) > 1
                return (channel if same and not _differs(unit, name) else each.name), tuple(others)
    known = [each.called(name) for each in unit.channels for name in unit.parts]
    raise UserError(f"there is no part '{text.strip()}' in this unit. {nearest(wanted, known)}".strip())


def as_lifted(unit: Unit, channel: str, part: str) -> Lifted:
    """Return a part as a verdict calls what one would lift.

    Parameters
    ----------
    unit : Unit
    channel : str
    part : str
        In designators of the first channel.
    """
    if part not in unit.parts or is_shared(unit.parts[part], unit):  # a rail is among no parts
        return part, "all" if len(unit.channels) > 1 else channel
    board = next((each for each in unit.channels if each.name == channel), unit.channels[0])
    return package(board.called(part)), channel


def _differs(unit: Unit, name: str) -> bool:
    """Tell whether a part's designator says which channel it is in."""
    return len({each.called(name) for each in unit.channels}) > 1
