"""Putting a fault into a simulated unit: by name, with the bench's own numbers."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from benchmarks.opamps import stem
from benchmarks.process import between, process
from lostgain.circuit import Circuit, Element, FlatCircuit, PlacedPart
from lostgain.circuit.flat import parameter, set_parameter
from lostgain.faults import Fault

#: Letters that a mode's name has for pins, by kind: ``b-open``, ``ce-short``.
_PIN_LETTERS = {"npn": "cbe", "pnp": "cbe", "njf": "dgs"}
#: The pin at which a plain ``joint``, ``open`` or ``contact`` lies.
_FIRST_PIN = {"diode": "a", "npn": "e", "pnp": "e", "njf": "s", "opamp": "out", "potentiometer": "top"}
_JOINTS = {"base-joint": "b", "collector-joint": "c"}


class Unknown(KeyError):
    """A mode that the benchmark does not know how to put in."""


def break_(flat: FlatCircuit, fault: Fault, circuit: Circuit, rng: np.random.Generator) -> FlatCircuit:
    """Return the unit with a fault in it.

    Parameters
    ----------
    flat : FlatCircuit
        As built.
    fault : Fault
        Part, mode, severity; a cluster's members one after the other.
    circuit : Circuit
        Where the parts are.
    rng : Generator
        Draws what a severity does not say: how good a short is, and how open an open.

    Raises
    ------
    Unknown
        For a mode it does not know.
    """
    for member in fault.members or (fault,):
        flat = _one(flat, circuit.parts[member.part], member.mode, member.severity, rng)
    return flat


def bridge(flat: FlatCircuit, one: str, other: str, ohms: float) -> FlatCircuit:
    """Return the unit with a resistance between two nodes that no part lies across."""
    return flat.with_elements(Element(f"rbridge_{len(flat.elements)}", (one, other), f"{max(ohms, 1e-3):.6g}"))


def off(flat: FlatCircuit, place: PlacedPart, factor: float) -> FlatCircuit:
    """Return the unit with a part's value multiplied."""
    return _scaled(flat, place, factor)


def _one(
    flat: FlatCircuit, place: PlacedPart, mode: str, severity: float | None, rng: np.random.Generator
) -> FlatCircuit:
    kind = place.part.kind
    own = process()["faults"]
    opened, shorted = between(rng, own["open_ohm"]), between(rng, own["short_ohm"])
    if kind == "opamp" and (done := _op_amp(flat, place, mode, severity, rng)) is not None:
        return done
    if (done := _wound_or_heated(flat, place, mode, severity, rng)) is not None:
        return done
    if kind == "rail":
        if mode == "low":
            return _scaled(flat, place, severity)
        flat = _scaled(flat, place, between(rng, own["rail_left"]))
        return _series(flat, place, "1", severity or 4.7e3) if mode == "missing" else flat
    if kind == "mute":
        return _across(flat, place, "1", "2", severity or 10 * shorted)
    if mode == "open" and "capacitor" in _family(kind):
        return flat.with_values({place.element: between(rng, own["residual_farad"])})
    if mode in ("drift", "lost", "wrong"):
        return _scaled(flat, place, severity)
    if mode in ("leaky", "short") and kind not in _PIN_LETTERS:
        one, other, *_ = place.pins
        return _across(flat, place, one, other, severity or shorted)
    if mode in ("open", "joint", "contact", "esr") or mode in _JOINTS:
        pin = "wiper" if (kind, mode) == ("potentiometer", "contact") else _FIRST_PIN.get(kind, "1")
        return _series(flat, place, _JOINTS.get(mode, pin), severity or opened)
    if mode == "reversed":
        return _reversed(flat, place)
    if mode == "low-gain":
        return _weak(flat, place, "beta" if kind == "njf" else "bf", severity)
    if pin_open := re.fullmatch(r"(\w+)-open", mode):
        return _series(flat, place, pin_open[1], opened)
    if (pins := re.fullmatch(r"(\w)(\w)-short", mode)) and kind in _PIN_LETTERS:
        return _across(flat, place, pins[1], pins[2], shorted)
    raise Unknown(f"{kind} {mode}")


def _family(kind: str) -> str:
    return "capacitor" if kind in ("electrolytic", "tantalum", "film", "ceramic", "capacitor") else kind


def _op_amp(
    flat: FlatCircuit, place: PlacedPart, mode: str, severity: float | None, rng: np.random.Generator
) -> FlatCircuit | None:
    """Modes that only an op-amp has; None for another one."""
    own = process()["faults"]
    if mode in ("stuck-high", "stuck-low"):
        flat = _series(flat, place, "out", between(rng, own["open_ohm"]))
        return _across(flat, place, "out", "vp" if mode == "stuck-high" else "vn", between(rng, own["stuck_ohm"]))
    if mode == "dead":
        return _series(flat, place, "out", between(rng, own["open_ohm"]))
    if mode in ("inp-leaky", "inn-leaky"):
        return _across(flat, place, mode[:3], "vn", severity or 1e3)
    if mode == "low-gain":
        name = f"r{stem(place)}_dom"
        return flat.with_values({name: flat.elements[name].value * (severity or 1.0)})
    if mode in ("offset-high", "offset-low"):
        name = f"v{stem(place)}_os"
        sign = 1 if mode == "offset-high" else -1
        return flat.with_values({name: flat.elements[name].value + sign * between(rng, own["offset_volt"])})
    if mode in ("inp-open", "inn-open"):
        return _series(flat, place, mode[:3], 1e3 * between(rng, own["open_ohm"]))
    return None


#: Pins that a transformer's or a relay's mode opens, and pairs that a valve's, a regulator's or a relay's shorts.
_OPENED = {"primary-open": "p1", "second-half-open": "p2", "tap-open": "ct", "secondary-open": "s1", "coil-open": "c1"}
_SHORTED = {
    "gk-short": ("g", "k"), "ak-short": ("a", "k"), "gg2-short": ("g", "g2"), "through": ("in", "out"),
    "out-short": ("out", "com"), "coil-short": ("c1", "c2"), "welded": ("1", "2"),
}  # fmt: skip


def _wound_or_heated(
    flat: FlatCircuit, place: PlacedPart, mode: str, severity: float | None, rng: np.random.Generator
) -> FlatCircuit | None:
    """Modes of valves, transformers, regulators and driven relays; None for another part."""
    kind, own = place.part.kind, process()["faults"]
    if kind not in ("triode", "pentode", "regulator", "driven-relay") and not kind.endswith("transformer"):
        return None
    if mode in _OPENED:
        return _series(flat, place, _OPENED[mode], between(rng, own["open_ohm"]))
    if mode in _SHORTED:
        return _across(flat, place, *_SHORTED[mode], between(rng, own["short_ohm"]))
    if mode == "interwinding":
        return _across(flat, place, "p1", "s1", severity or 1e4)
    inside = {
        "heater-open": "vem",
        "low-emission": "vem",
        "gas": "vgas",
        "shorted-turns": "rturns",
        "off-value": "vref",
    }
    if mode in inside:
        name = place.inside(inside[mode], flat)
        now = flat.elements[name].value
        left = {"heater-open": 0.0, "gas": 1.0, "shorted-turns": between(rng, own["short_ohm"])}
        return flat.with_values({name: left[mode] if mode in left else now * (severity or 1.0)})
    if mode in ("dead", "joint") and kind == "regulator":
        return _series(flat, place, "out", severity or between(rng, own["open_ohm"]))
    if mode == "joint":
        return _series(flat, place, "k" if kind in ("triode", "pentode") else "p1", severity or 1e3)
    if mode in ("open", "contact"):
        return _series(flat, place, "1", severity or between(rng, own["open_ohm"]))
    return None


def _scaled(flat: FlatCircuit, place: PlacedPart, factor: float | None) -> FlatCircuit:
    if factor is None:
        raise Unknown(f"{place.part.designator} needs a severity")
    return flat.with_values({place.element: flat.elements[place.element].value * factor})


def _series(flat: FlatCircuit, place: PlacedPart, pin: str, ohms: float) -> FlatCircuit:
    """Lift a pin and put a resistance between it and the board."""
    at = place.pins[pin]
    element = flat.elements[at.element]
    node = f"lifted_{len(flat.elements)}"
    return flat.with_elements(
        element.with_node(at.index, node),
        Element(f"rlifted_{len(flat.elements)}", (element.nodes[at.index], node), f"{ohms:.6g}"),
    )


def _across(flat: FlatCircuit, place: PlacedPart, one: str, other: str, ohms: float) -> FlatCircuit:
    """Put a resistance between two pins, on the board."""
    nodes = tuple(_board(flat, place, pin) for pin in (one, other))
    if nodes[0] == nodes[1]:
        return flat
    return flat.with_elements(Element(f"racross_{len(flat.elements)}", nodes, f"{max(ohms, 1e-3):.6g}"))


def _board(flat: FlatCircuit, place: PlacedPart, pin: str) -> str:
    """Return the board node at a pin, also of one that has been lifted."""
    node = flat.elements[place.pins[pin].element].nodes[place.pins[pin].index]
    return flat.elements[f"r{node}"].nodes[0] if node.startswith("lifted_") else node


def _reversed(flat: FlatCircuit, place: PlacedPart) -> FlatCircuit:
    """Turn a part round: its outer pins change places; an electrolytic then conducts like a poor diode."""
    pins = list(place.pins)
    if _family(place.part.kind) == "capacitor":
        minus, plus = _board(flat, place, pins[1]), _board(flat, place, pins[0])
        node = f"turned_{len(flat.elements)}"
        flat = flat.with_elements(
            Element(f"r{node}", (minus, node), "800"), Element(f"d{node}", (node, plus), "mturned")
        )
        return replace(flat, models={**flat.models, "mturned": "d(is=3e-13 n=1.9)"})
    outer = (pins[1], pins[2]) if place.part.kind == "njf" else (pins[0], pins[-1])
    first, last = (place.pins[pin] for pin in outer)
    ends = [_board(flat, place, pin) for pin in outer]
    flat = flat.with_elements(flat.elements[first.element].with_node(first.index, ends[1]))
    return flat.with_elements(flat.elements[last.element].with_node(last.index, ends[0]))


def _weak(flat: FlatCircuit, place: PlacedPart, name: str, severity: float | None) -> FlatCircuit:
    model = flat.model_of(place.element)
    now = parameter(flat.models[model], name)
    if now is None or severity is None:
        raise Unknown(f"{place.part.designator} low-gain")
    return replace(flat, models={**flat.models, model: set_parameter(flat.models[model], name, now * severity)})
