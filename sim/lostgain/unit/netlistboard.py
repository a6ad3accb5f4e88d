"""What the unit file adds to the elements of a netlist: board designator, kind, tolerance, device class, pins."""

from __future__ import annotations

import re

from lostgain.problems import nearest
from lostgain.unit import library
from lostgain.unit.draft import Draft
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part
from lostgain.unit.names import is_designator
from lostgain.unit.netlistparts import Element, Netlist, kind_of
from lostgain.unit.parttext import PartFault, read_tail, words
from lostgain.unit.source import Table

_BOARD = re.compile(r"[A-Za-z_]+[0-9]+[A-Za-z]?")


def parts_of(table: Table, found: Netlist, stage: str, draft: Draft) -> list[Part]:
    """Return the parts of a netlist.

    Parameters
    ----------
    table : Table
        ``parts`` of the unit file: element name to text or table.
    found : Netlist
    stage : str
        The stage they belong to.
    draft : Draft
        Its mistakes and elements left out are added to.
    """
    draft.source.problems += found.problems
    said = {key.upper(): key for key in table.data}
    known = {element.name.upper() for element in found.elements}
    parts = []
    seen: set[str] = set()
    for element in found.elements:
        name = element.name.upper()
        if name in seen:
            draft.wrong(element.where, f"the element {element.name} is there twice.")
            continue
        seen.add(name)
        key = said.get(name)
        if key is not None:
            table.taken.add(key)
        if part := _part(table, key, element, found, stage, draft):
            parts.append(part)
    for key in table.rest()[:100]:
        if not found.problems:  # an element that could not be read would be reported as missing too
            table.wrong(key, f"the netlist has no element “{key}” that could be a part.", nearest(key, known))
    return parts


def _part(table: Table, key: str | None, element: Element, found: Netlist, stage: str, draft: Draft) -> Part | None:
    """Return the part an element is; None, and a note, where it is none."""
    is_x = element.name[0].upper() == "X"
    if is_x and key is None:
        draft.left_out.append(element.name)
        return None
    designator, tail, pins = _said(table, key)
    named = designator or element.name.upper()
    where = element.where if key is None else table.where(key)
    try:
        role = "" if is_x else kind_of(element, found)
    except ValueError as error:
        draft.wrong(element.where, str(error))
        return None
    if not is_x and not role and not any(word.lower() in kinds() for word in tail):
        draft.left_out.append(element.name)
        return None
    if not is_designator(named):
        draft.wrong(element.where, f"{element.name} is no designator; name the part in parts: {element.name} = “R14”.")
        return None
    try:
        device = element.model if element.model in library.device_names() else None
        if is_x and device and not any(word.lower() in {*kinds(), *library.device_names()} for word in tail):
            role = library.device(device).kind
        part = read_tail(named, tail, role, element.value)
    except PartFault as fault:
        draft.wrong(where, fault.message, fault.meant)
        return None
    if part.value is not None and not is_x:
        draft.wrong(where, f"{named}: the value is the netlist's; change it there, in {element.where}.")
    own = library.device(part.device or device or "").pins if part.device or device else kinds()[part.kind].pins
    pins = pins or (own if is_x else kinds()[part.kind].pins)
    if len(pins) != len(element.nodes):
        draft.wrong(
            where,
            f"{element.name} has {len(element.nodes)} nodes, but {len(pins)} pins are known: {', '.join(pins)}.",
            f"Name them in the order of its nodes: {element.name} = {{ kind = “{part.kind}”, pins = [“inp”, …] }}.",
        )
    return draft.make(part, stage, element.name, where, "", element.value, device, pins)


def _said(table: Table, key: str | None) -> tuple[str, list[str], tuple[str, ...]]:
    """Return board designator, further words and pins of an element, as the unit file gives them."""
    if key is None:
        return "", [], ()
    if not isinstance(table.data[key], dict):
        text = table.get(key, str, "a text such as “1%” or “U1A opamp-bipolar”, or a table with kind, as and pins", "")
        said = words(text)
        if said and _BOARD.fullmatch(said[0]) and said[0].lower() not in library.device_names():
            return said[0].upper(), said[1:], ()
        return "", said, ()
    row = table.table(key, key)
    designator = row.text("as")
    if designator and not is_designator(designator):
        row.wrong("as", f"“{designator}” is no designator: expected for example U1A.")
        designator = ""
    tail = [word for name in ("kind", "tolerance", "value", "rating") for word in words(row.text(name)) if word]
    pins = tuple(row.names("pins", 'a list of pins in the order of its nodes: ["inp", "inn", "vp", "vn", "out"]'))
    if len(set(pins)) < len(pins):
        row.wrong("pins", "pins names one pin twice.")
    row.finish()
    return designator.upper(), tail, pins
