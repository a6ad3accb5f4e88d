"""The ferry-terminal's circuit as one netlist with a subcircuit a stage, as a schematic editor would export it."""

from __future__ import annotations

import re

import lostgain
from lostgain.circuit.compose import compose


def ferry_netlist() -> tuple[str, dict[str, str]]:
    """Return the netlist, and each stage's name with the node it ends at."""
    composed = compose(lostgain.open_unit("ferry-terminal"))
    lines: list[str] = []
    joined: dict[str, str] = {}
    for line in composed.lines:
        words = line.split()
        if words[0].startswith("rpin_"):  # put in front of each pin by the composer, and no part
            joined[words[2]] = words[1]
            continue
        if words[0].lower() == ".ends":
            lines = [_named(each, joined) for each in lines]
            joined = {}
        lines.append(line)
    text = "\n".join(lines).replace("rbench_source", "RS").replace("rbench_load", "RL")
    return text, dict(composed.stage_ends)


def _named(line: str, joined: dict[str, str]) -> str:
    return re.sub(r"\S+_pin\d+", lambda found: joined.get(found[0], found[0]), line)
