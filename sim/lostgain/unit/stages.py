"""``[[stage]]`` of a unit file: from the library, from a netlist, a boundary in one, or a stand-in."""

from __future__ import annotations

import re
from pathlib import Path

from lostgain import quantities
from lostgain.problems import UserError, nearest
from lostgain.unit import library
from lostgain.unit.does import say_what_parts_do
from lostgain.unit.draft import Draft
from lostgain.unit.model import Stage
from lostgain.unit.names import NODE, inside, is_designator, name_fault
from lostgain.unit.netlistboard import parts_of
from lostgain.unit.netlistparts import read_netlist
from lostgain.unit.rails import RESERVED, volts
from lostgain.unit.roles import read_roles
from lostgain.unit.source import Table

STAND_IN = "stand-in"
BROKEN = "broken"
#: What a rail port may be connected to instead of a rail: ground, with a single supply.
GROUND = ("0", "gnd", "ground")
_OWN_KEYS = ("name", "use", "netlist", "subckt", "ports", "parts", "rails", "points", "gain", "dc", "output", "from")


def read_stage(table: Table, draft: Draft, folder: Path, of_netlist: bool) -> Stage:
    """Read one stage of a chain, or one boundary of a unit that is one netlist, and add its parts to the draft.

    Returns
    -------
    Stage
        Its source is ``broken`` where it could not be read: its mistakes are noted, and what refers to it finds it.
    """
    name = table.text("name", required='"Preamplifier"')
    if name and (fault := name_fault(name)):
        table.wrong("name", f"the stage's name “{name}” {fault}.")
    if name.lower() == "supply":
        table.wrong("name", "“supply” is where rails and fuses belong; call the stage something else.")
    if of_netlist:
        return _boundary(table, name)
    if "use" in table.data and "netlist" in table.data:
        table.wrong("netlist", "a stage is either from the library (use) or from a netlist (netlist).")
    if "netlist" in table.data:
        return _netlist(table, name, draft, folder)
    use = table.text("use", required='"noninverting"')
    if use == STAND_IN:
        return _stand_in(table, name)
    if not use:
        table.taken.update(_OWN_KEYS)
        _unread(table, draft)
        return Stage(name, BROKEN, where=table.where())
    return _library(table, name, use, draft)


def _library(table: Table, name: str, use: str, draft: Draft) -> Stage:
    try:
        facts = library.stage(use)
    except UserError as error:
        if use in library.stage_names():
            raise  # the library's own files are at fault
        guess = nearest(use, (*library.stage_names(), STAND_IN))
        table.wrong("use", error.problems[0].message, guess)
        table.taken.add("points")
        _unread(table, draft)
        return Stage(name, BROKEN, where=table.where())
    if facts.supplies:
        table.wrong("use", f"{use} is a supply and passes no signal.", "It belongs under [[supply]].")
    rails = _rails(table, facts, draft)
    table.taken.add("points")
    read_roles(table, facts, name, draft, _OWN_KEYS)
    return Stage(name, "library", library=use, rails=rails, where=table.where())


def _unread(table: Table, draft: Draft) -> None:
    """Note the designators in a stage whose kind is not known: what else names them is right."""
    texts = [text for key, text in table.data.items() if key not in _OWN_KEYS and isinstance(text, str)]
    draft.unread.update(text.split()[0].upper() for text in texts if text.strip())


def _rails(table: Table, facts: library.StageFacts, draft: Draft) -> dict[str, str]:
    """Return which rail feeds each rail port: as written, or the only rail of that sign."""
    rows = table.table("rails", "rails")
    known = {rail.name: rail for rail in draft.rails}
    found = {}
    for port, sign in facts.rails.items():
        said = rows.text(port) if port in rows.data else ""
        fitting = [rail.name for rail in draft.rails if (rail.volts > 0) == (sign == "positive")]
        if said.lower() in GROUND:
            found[port] = "0"  # a single supply
            continue
        if said.upper() in draft.unread_rails or (not said and draft.unread_rails):
            continue  # its own mistake has been told
        if said and said.upper() not in known:
            if not any(map(_no_name, draft.unread_rails)):
                rows.wrong(port, f"there is no rail “{said}”.", nearest(said.upper(), known))
        elif said:
            found[port] = said.upper()
            if said.upper() not in fitting:
                volts_shown = quantities.show(known[said.upper()].volts, "V")
                rows.wrong(port, f"{port} of {facts.name} takes a {sign} rail, and {said} is at {volts_shown}.")
        elif len(fitting) == 1:
            found[port] = fitting[0]
        elif not fitting:
            example = "VP = “+15 V”" if sign == "positive" else "VN = “-15 V”"
            table.wrong(None, f"{facts.name} needs a {sign} rail; [rails] has none, for example {example}.")
        else:
            table.wrong(
                None,
                f"{facts.name} needs a {sign} rail, and there are {len(fitting)}: {', '.join(fitting)}.",
                f"Say which: rails = {{ {port} = “{fitting[0]}” }}.",
            )
    for port in rows.rest():
        rows.wrong(port, f"{facts.name} has no rail port “{port}”.", nearest(port, facts.rails))
    return found


def _stand_in(table: Table, name: str) -> Stage:
    dc = volts(table, "dc", "0 V")
    stage = Stage(name, STAND_IN, gain=_gain(table), dc=dc or 0.0, where=table.where())
    table.taken.add("points")
    table.finish()
    return stage


def _gain(table: Table) -> float:
    """Read the gain of a stand-in: a factor, negative where it inverts, or decibels."""
    value = table.get("gain", (int, float, str), "a factor, or decibels: “-3 dB”")
    if value is None:
        if "gain" not in table.data:
            table.lacks("gain", "a stand-in needs its gain, for example gain = “-3 dB” or 0.7.")
        return 1.0
    if isinstance(value, str):
        match = re.fullmatch(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*(dB)?", quantities.fold(value), re.IGNORECASE)
        number = float(match[1].replace(",", ".")) if match else 0.0
        if not match or (match[2] and abs(number) > 200):
            table.wrong("gain", f"gain: “{value}” is no gain: expected for example “-3 dB”, 0.7 or “-0.7”.")
            return 1.0
        value = 10.0 ** (number / 20.0) if match[2] else number
    if not 1e-10 <= abs(value) <= 1e10:
        table.wrong("gain", f"gain: a factor of {value:g} can't be.")
        return 1.0
    return float(value)


def _netlist(table: Table, name: str, draft: Draft, folder: Path) -> Stage:
    """Read a stage that is a subcircuit in the unit's folder."""
    text = table.text("netlist")
    subckt = table.text("subckt", required='"receiver"')
    table.taken.add("points")
    parts = table.table("parts", "parts")
    ports = tuple(_port(port) for port in table.names("ports", 'a list of nodes: ["in", "0", "out", "VP"]'))
    purpose = table.text("purpose")
    table.taken.add("does")
    table.finish(_OWN_KEYS)
    file = netlist_file(table, text, folder)
    broken = Stage(name, BROKEN, where=table.where())
    if file is None or not subckt:
        return broken
    found = read_netlist(file, folder, subckt)
    if subckt.lower() not in found.ports:
        draft.source.problems += found.problems
        if not found.problems:  # else it may be in the part that could not be read
            table.wrong("subckt", f"{file.name} has no .subckt “{subckt}”.", nearest(subckt, found.ports))
        return broken
    _check_ports(table, ports, found.ports[subckt.lower()], {rail.name for rail in draft.rails} | draft.unread_rails)
    for part in parts_of(parts, found, name, draft):
        draft.add(part)
    say_what_parts_do(table, name, draft, bool(found.problems))
    return Stage(name, "netlist", netlist=file, subckt=subckt, ports=ports, where=table.where(), purpose=purpose)


def netlist_file(table: Table, text: str, folder: Path) -> Path | None:
    """Return the netlist of that name in the unit's folder; None, and a note, where it can't be had."""
    try:
        return inside(folder, text)
    except ValueError as error:
        near = ""
        if str(error) == "doesn't exist":
            near = nearest(text, (file.name for file in folder.iterdir() if file.suffix not in ("", ".toml")))
        table.wrong("netlist", f"the netlist “{text}” {error}.", near)
        return None


def _port(text: str) -> str:
    """Return what a port is connected to: in, out, 0 or a rail's name."""
    if text.lower() in ("in", "out"):
        return text.lower()
    return "0" if text.lower() == "gnd" else text.upper()


def _check_ports(table: Table, ports: tuple[str, ...], nodes: tuple[str, ...], rails: set[str]) -> None:
    if not ports:
        message = f"say what the nodes of .subckt {' '.join(nodes)} are connected to."
        table.wrong(None, message, "For example ports = [“in”, “0”, “out”].")
        return
    if len(ports) != len(nodes):
        table.wrong("ports", f"ports names {len(ports)}, but the .subckt has {len(nodes)} nodes: {' '.join(nodes)}.")
    for port in ports:
        if port not in ("in", "out", "0") and port not in rails and not any(map(_no_name, rails)):
            table.wrong("ports", f"“{port}” is neither in, out, 0 nor a rail.", nearest(port, rails))
    for port in ("in", "out"):
        if ports.count(port) != 1:
            table.wrong("ports", f"ports should name “{port}” once, not {ports.count(port)} times.")


def _no_name(rail: str) -> bool:
    """Tell whether a rail has a name that it can't have: told at the rail, and any port may have meant it."""
    return not is_designator(rail) or rail in RESERVED


def _boundary(table: Table, name: str) -> Stage:
    """Read a boundary in a unit that is one netlist; its parts are told apart in `read_whole`."""
    for key in ("use", "netlist"):
        if key in table.data:
            table.taken.add(key)
            table.wrong(key, "this unit is one netlist; its stages are boundaries, with parts and output.")
    output = table.text("output", required='"lp"')
    if output and not NODE.fullmatch(output):
        table.wrong("output", f"“{output}” can't be a node of the netlist.")
        output = ""
    purpose = table.text("purpose")
    table.taken.update(("parts", "points", "does"))
    table.finish()
    return Stage(name, "boundary", output=output, where=table.where(), purpose=purpose)
