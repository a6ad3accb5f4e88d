"""Valves and regulators among the subcircuits, by what their nodes are called."""

from __future__ import annotations

import re

from lostgain.netlists.deck import Subckt
from lostgain.unit.kinds import kinds

#: What makers call the pins, in lostgain's own words for them.
_PINS = {
    "a": re.compile(r"a|p|plate|anode"),
    "g": re.compile(r"g|g1|grid|cg"),
    "g2": re.compile(r"g2|s|sg|screen"),
    "k": re.compile(r"k|c|cath\w*|cathode"),
}
_REGULATOR = {
    "in": re.compile(r"in|vin|input"),
    "com": re.compile(r"com|gnd|adj|ref|0"),
    "out": re.compile(r"out|vout|output"),
}
_REGULATOR_NAME = re.compile(r"reg|^\w{0,3}7[89]\d\d|^lm3[13]7|ldo", re.IGNORECASE)
_VALVE_NAME = re.compile(r"triode|pentode|tetrode|valve|tube|^(e[cl]+c?\d|12a|6[a-z]|kt\d|el\d|6l6|6v6)", re.IGNORECASE)


def valve(subckt: Subckt) -> tuple[str, tuple[str, ...]] | None:
    """Return kind and pins of a subcircuit that is a valve's model; None for others."""
    sources = any(card.word[0] in "begf" for card in subckt.cards)
    for kind in ("triode", "pentode"):
        if kind not in kinds() or len(subckt.ports) != len(kinds()[kind].pins):
            continue
        pins = _named(subckt.ports, {pin: _PINS[pin] for pin in kinds()[kind].pins})
        if pins and sources:
            return kind, pins
        if _VALVE_NAME.search(subckt.name) and sources:
            usual = ("a", "g", "k") if kind == "triode" else ("a", "g2", "g", "k")
            return kind, usual
    return None


def regulator(subckt: Subckt) -> tuple[str, tuple[str, ...]] | None:
    """Return kind and pins of a subcircuit that is a three-terminal regulator's model; None for others."""
    if "regulator" not in kinds() or len(subckt.ports) != 3 or not _REGULATOR_NAME.search(subckt.name):
        return None
    pins = _named(subckt.ports, _REGULATOR)
    return ("regulator", pins) if pins else None


def _named(ports: tuple[str, ...], names: dict[str, re.Pattern[str]]) -> tuple[str, ...] | None:
    """Return the pins where each node's name stands for one of them, each once."""
    found = [next((pin for pin, pattern in names.items() if pattern.fullmatch(port)), "") for port in ports]
    return tuple(found) if all(found) and len(set(found)) == len(found) else None
