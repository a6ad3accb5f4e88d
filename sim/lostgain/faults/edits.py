"""Putting a fault into the flat circuit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import count

from lostgain.circuit import Circuit, Element, FlatCircuit, Pin, PlacedPart
from lostgain.circuit.flat import parameter
from lostgain.faults.catalogue import Edit, Mode, modes_for
from lostgain.faults.model import Fault
from lostgain.unit.library import device

#: Resistance of the added elements must stay above what ngspice turns into 1 mΩ by itself [ohm].
SMALLEST = 1e-3


def put_in(flat: FlatCircuit, fault: Fault, circuit: Circuit) -> FlatCircuit:
    """Return the circuit with a fault in it.

    Parameters
    ----------
    flat : FlatCircuit
        The circuit to change: healthy, of other tolerances, or with another fault already in it.
    fault : Fault
    circuit : Circuit
        Where the parts are.

    Returns
    -------
    FlatCircuit
    """
    for member in fault.members or (fault,):
        place = circuit.parts[member.part]
        mode = next(mode for mode in modes_for(place.part.kind) if mode.name == member.mode)
        for edit in mode.edits:
            flat = _EDITS[edit.do](flat, place, edit, member.severity)
    return flat


def can_put_in(mode: Mode, place: PlacedPart, flat: FlatCircuit) -> bool:
    """Tell whether a mode can be put into a part: whether its pins, value, model and inside offer what is changed."""
    element = flat.elements.get(place.element)
    for edit in mode.edits:
        if not all(pin in place.pins for pin in edit.pins):
            return False
        if edit.do in ("set", "times") and (element is None or not element.has_value):
            return False
        if edit.do == "model" and (
            element is None or parameter(flat.models[flat.model_of(place.element)], edit.parameter) is None
        ):
            return False
        if edit.do in ("inside", "add") and _inner(flat, place, edit) is None:
            return False
    return True


def _inner(flat: FlatCircuit, place: PlacedPart, edit: Edit) -> str | None:
    """Return the element inside a part that a mode changes, where its device class names one."""
    if place.part.device is None or not place.subckt:
        return None
    hint = device(place.part.device).faults.get(edit.fact, {})
    try:
        return place.inside(str(hint["element"]), flat)
    except KeyError:
        return None


def _number(fixed: float | None, severity: float | None) -> float:
    if fixed is not None:
        return fixed
    if severity is None:
        raise ValueError("a severity is needed")
    return severity


def _set(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    return flat.with_values({place.element: _number(edit.to, severity)})


def _times(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    now = flat.elements[place.element].value
    return flat.with_values({place.element: now * _number(edit.by, severity)})


def _series(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    """Lift a pin off whatever it is on: the board, or the joint that an earlier fault put there."""
    ohms = max(_number(edit.ohms, severity), SMALLEST)
    pin = place.pins[edit.pins[0]]
    element = flat.elements[pin.element]
    inner = _free(flat, f"rfault_{_lifted(place, edit.pins[0])}").removeprefix("rfault_")
    joint = Element(f"rfault_{inner}", (element.nodes[pin.index], inner), f"{ohms:.12g}")
    return flat.with_elements(element.with_node(pin.index, inner), joint)


def _across(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    ohms = max(_number(edit.ohms, severity), SMALLEST)
    one, other = (_board_node(flat, place, name) for name in edit.pins)
    if one == other:
        return flat
    name = _free(flat, f"rfault_{_plain(place)}_{edit.pins[0]}_{edit.pins[1]}_")
    return flat.with_elements(Element(name, (one, other), f"{ohms:.12g}"))


def _model(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    model = flat.model_of(place.element)
    now = parameter(flat.models[model], edit.parameter)
    if now is None:
        raise KeyError(f"the model of {place.part.designator} has no {edit.parameter}")
    return flat.with_parameters({(model, edit.parameter): now * _number(edit.by, severity)})


def _inside(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    name = _inner(flat, place, edit)
    if name is None:
        raise KeyError(f"the device class of {place.part.designator} names no element for {edit.fact}")
    now = flat.elements[name].value
    by = _number(edit.by, severity)
    return flat.with_values({name: now + by if edit.do == "add" else now * by})


def _swap(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    first, second = (_at_board(flat, place, name) for name in edit.pins)
    nodes = [_board_node(flat, place, name) for name in edit.pins]
    flat = flat.with_elements(flat.elements[first.element].with_node(first.index, nodes[1]))
    return flat.with_elements(flat.elements[second.element].with_node(second.index, nodes[0]))


def _conduct(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    one, other = (_board_node(flat, place, name) for name in edit.pins)
    stem = _plain(place)
    inner = _free(flat, f"rfault_{stem}_conducts").removeprefix("rfault_")
    model = f"mfault_{stem}"
    flat = flat.with_elements(
        Element(f"rfault_{inner}", (one, inner), f"{_number(edit.ohms, severity):.12g}"),
        Element(f"dfault_{inner}", (inner, other), model),
    )
    return replace(flat, models={**flat.models, model: "d(is=1e-12 n=2)"})


def _board_node(flat: FlatCircuit, place: PlacedPart, pin: str) -> str:
    """Return the node on the board at a pin, also where the pin has been lifted off it."""
    at = _at_board(flat, place, pin)
    return flat.elements[at.element].nodes[at.index]


def _at_board(flat: FlatCircuit, place: PlacedPart, pin: str) -> Pin:
    """Return what ends on the board at a pin: the part, or the first joint it was lifted by."""
    joint = f"rfault_{_lifted(place, pin)}1"
    return Pin(joint, 0) if joint in flat.elements else place.pins[pin]


def _lifted(place: PlacedPart, pin: str) -> str:
    return f"{_plain(place)}_{pin}_lifted"


def _free(flat: FlatCircuit, stem: str) -> str:
    """Return the first name that no element has, so that two faults of one part do not undo each other."""
    return next(name for number in count(1) if (name := f"{stem}{number}") not in flat.elements)


def _plain(place: PlacedPart) -> str:
    return "".join(letter if letter.isalnum() else "_" for letter in place.part.designator.lower())


_EDITS: dict[str, Callable[[FlatCircuit, PlacedPart, Edit, float | None], FlatCircuit]] = {
    "set": _set,
    "times": _times,
    "series": _series,
    "across": _across,
    "model": _model,
    "inside": _inside,
    "add": _inside,
    "swap": _swap,
    "conduct": _conduct,
}
