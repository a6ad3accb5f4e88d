"""``[rails]``, ``[[reservoir]]`` and ``[tolerances]`` of a unit file."""

from __future__ import annotations

from lostgain import quantities
from lostgain.problems import nearest
from lostgain.unit.draft import Draft
from lostgain.unit.kinds import families, kinds, of_family
from lostgain.unit.model import Part, Rail, Reservoir
from lostgain.unit.names import is_designator
from lostgain.unit.parttext import PartFault, PartText, read_part, tolerance
from lostgain.unit.source import Table

#: What a stage's ports may be connected to besides rails, so that no rail may be called so.
RESERVED = ("0", "GND", "IN", "OUT", "INPUT")
SUPPLY = "supply"


def read_tolerances(top: Table) -> dict[str, tuple[float, float]]:
    """Return the default tolerance of every kind, with the unit's own in place of the usual ones."""
    found = {name: kind.tolerance for name, kind in kinds().items()}
    table = top.table("tolerances", "[tolerances]")
    rows = {key: table.text(key) for key in table.data}
    for key in sorted(rows, key=lambda key: key not in families()):  # a kind's own beats its family's
        fitting = of_family(key)
        if not fitting:
            table.wrong(key, f"“{key}” is no kind of part.", nearest(key, {*kinds(), *families()}))
        try:
            for kind in fitting if rows[key] else ():
                found[kind.name] = tolerance(rows[key])
        except PartFault as fault:
            table.wrong(key, fault.message, fault.meant)
    return found


def quantity(table: Table, key: str, dimension: str, example: str, default: float | None = None) -> float | None:
    """Return a quantity written as text, in SI units; the default where it is missing or wrong."""
    text = table.get(key, str, f"a text with its unit, for example “{example}”")
    if text is None:
        return default
    try:
        return quantities.measure(text, dimension).value
    except ValueError as error:
        table.wrong(key, f"{key}: {error}")
        return default


def volts(table: Table, key: str, example: str) -> float | None:
    """Return a DC voltage written as text [V]; None where it is missing or wrong."""
    text = table.get(key, str, f"a text with its unit, for example “{example}”")
    if text is None:
        return None
    try:
        measure = quantities.measure(text, "voltage")
    except ValueError as error:
        table.wrong(key, f"{key}: {error}")
        return None
    if measure.given_as != "plain":
        table.wrong(key, f"{key}: “{text}” is a level; a DC voltage is wanted, for example “{example}”.")
        return None
    return measure.value


def part_text(table: Table, key: str, role: str, example: str) -> PartText | None:
    """Return a part written as text; None where it is missing or wrong."""
    text = table.text(key) if key in table.data else ""
    if not text:
        if key in table.data and isinstance(table.data[key], str):
            table.wrong(key, f"{key} is empty; expected for example “{example}”.")
        return None
    try:
        return read_part(text, role)
    except PartFault as fault:
        table.wrong(key, fault.message, fault.meant)
        return None


def read_rails(top: Table, draft: Draft) -> tuple[Rail, ...]:
    """Read ``[rails]``, and add each rail and its fuse to the parts."""
    table = top.table("rails", "[rails]")
    rails = []
    for key in table.data:
        name = key.upper()
        row = Table(table.source, (*table.path, key), f"rail {key}", _as_table(table, key))
        if not is_designator(name) or name in RESERVED:
            row.wrong(None, f"a rail can't be called “{key}”; expected for example VP, VN or V15.")
            draft.unread_rails.add(name)
            continue
        level = volts(row, "volts", "+15 V")
        if level is None and "volts" not in row.data:
            row.lacks("volts", f"rail {key} needs its voltage, for example {key} = “+15 V”.")
        elif level == 0:
            row.wrong(None, f"rail {key} is at 0 V; that is ground, which needs no rail.")
        if not level:
            draft.unread_rails.add(name)
        resistance = quantity(row, "resistance", "resistance", "0R5", 0.1)
        spread = draft.tolerances["rail"]
        if text := row.text("tolerance"):
            try:
                spread = tolerance(text)
            except PartFault as fault:
                row.wrong("tolerance", fault.message, fault.meant)
        fuse = part_text(row, "fuse", "fuse", "F1 3.15A")
        row.taken.add("fuse")
        row.finish()
        rail = Rail(name, level or 0.0, resistance or 0.0, spread, fuse.designator if fuse else "", row.where())
        rails.append(rail)
        does = f"the supply of {quantities.show(rail.volts, 'V')}"
        pins = kinds()["rail"].pins
        draft.add(
            Part(name, "rail", rail.volts, spread, stage=SUPPLY, role="rail", does=does, pins=pins, where=rail.where),
            True,
        )
        if fuse:
            does = f"in rail {name}: open, the rail is missing"
            part = draft.make(fuse, SUPPLY, "fuse", row.where("fuse"), does, pins=kinds()["fuse"].pins)
            if draft.add(part, shared=True) and not fuse.value:
                row.wrong("fuse", f"the fuse {fuse.designator} needs its current, for example “F1 3.15A”.")
    return tuple(rails)


def _as_table(table: Table, key: str) -> object:
    """Return a rail's table, where it is written as a voltage alone."""
    table.taken.add(key)
    value = table.data[key]
    if isinstance(value, dict):
        return value
    if isinstance(value, str):
        return {"volts": value}
    table.wrong(key, f"rail {key} should be a voltage in quotes, for example {key} = “+15 V”.")
    return {"volts": "1 V"}


def read_reservoirs(top: Table, draft: Draft) -> tuple[Reservoir, ...]:
    """Read ``[[reservoir]]``."""
    found = []
    for table in top.tables("reservoir", "[[reservoir]]"):
        part = part_text(table, "part", "capacitor", "C201 4700u 50V")
        level = volts(table, "volts", "28 V")
        bleeder = part_text(table, "bleeder", "resistor", "R201 2k2")
        for key, example in (("part", "C201 4700u 50V"), ("volts", "28 V")):
            if key not in table.data:
                table.lacks(key, f"[[reservoir]] needs {key}, for example {key} = “{example}”.")
        for key, said in (("part", part), ("bleeder", bleeder)):
            if said:
                draft.claim(said.designator, table.where(key), shared=True)
                if said.value is None:
                    table.wrong(key, f"{said.designator} needs its value.")
        table.taken.update(("part", "bleeder"))
        table.finish()
        if part and part.value and level is not None:
            ohms = bleeder.value if bleeder else None
            found.append(Reservoir(part.designator, part.value, level, ohms, table.where()))
    return tuple(found)
