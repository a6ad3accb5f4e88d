"""Putting a fault into the flat circuit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lostgain.circuit import Circuit, Element, FlatCircuit, PlacedPart
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
    """Tell whether a mode can be put into a part: whether its pins, its value and its model offer what is changed."""
    for edit in mode.edits:
        if not all(pin in place.pins for pin in edit.pins):
            return False
        if edit.do in ("set", "times") and place.subckt:
            return False
        if edit.do == "model" and (
            place.subckt or parameter(flat.models[flat.model_of(place.element)], edit.parameter) is None
        ):
            return False
        if edit.do == "inside" and _low_gain(place) is None:
            return False
    return True


def _low_gain(place: PlacedPart) -> str | None:
    """Return the name of the element that sets the open-loop gain, where the device class names it."""
    if place.part.device is None:
        return None
    hint = device(place.part.device).faults.get("low_gain", {})
    return str(hint["element"]) if "element" in hint else None


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
    ohms = max(_number(edit.ohms, severity), SMALLEST)
    pin = place.pins[edit.pins[0]]
    element = flat.elements[pin.element]
    board = element.nodes[pin.index]
    inner = f"{_plain(place)}_{edit.pins[0]}_lifted"
    joint = Element(f"rfault_{inner}", (board, inner), f"{ohms:.12g}")
    return flat.with_elements(element.with_node(pin.index, inner), joint)


def _across(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    ohms = max(_number(edit.ohms, severity), SMALLEST)
    one, other = (_board_node(flat, place, name) for name in edit.pins)
    if one == other:
        return flat
    name = f"rfault_{_plain(place)}_{edit.pins[0]}_{edit.pins[1]}"
    return flat.with_elements(Element(name, (one, other), f"{ohms:.12g}"))


def _model(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    model = flat.model_of(place.element)
    now = parameter(flat.models[model], edit.parameter)
    if now is None:
        raise KeyError(f"the model of {place.part.designator} has no {edit.parameter}")
    return flat.with_parameters({(model, edit.parameter): now * _number(edit.by, severity)})


def _inside(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    name = place.inside(_low_gain(place) or "", flat)
    return flat.with_values({name: flat.elements[name].value * _number(edit.by, severity)})


def _swap(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    first, second = (place.pins[name] for name in edit.pins)
    nodes = [_board_node(flat, place, name) for name in edit.pins]
    flat = flat.with_elements(flat.elements[first.element].with_node(first.index, nodes[1]))
    return flat.with_elements(flat.elements[second.element].with_node(second.index, nodes[0]))


def _conduct(flat: FlatCircuit, place: PlacedPart, edit: Edit, severity: float | None) -> FlatCircuit:
    one, other = (_board_node(flat, place, name) for name in edit.pins)
    stem = _plain(place)
    inner, model = f"{stem}_conducts", f"mfault_{stem}"
    flat = flat.with_elements(
        Element(f"rfault_{inner}", (one, inner), f"{_number(edit.ohms, severity):.12g}"),
        Element(f"dfault_{inner}", (inner, other), model),
    )
    return replace(flat, models={**flat.models, model: "d(is=1e-12 n=2)"})


def _board_node(flat: FlatCircuit, place: PlacedPart, pin: str) -> str:
    """Return the node on the board at a pin, also where the pin has been lifted off it."""
    at = place.pins[pin]
    lifted = flat.elements.get(f"rfault_{_plain(place)}_{pin}_lifted")
    return lifted.nodes[0] if lifted else flat.elements[at.element].nodes[at.index]


def _plain(place: PlacedPart) -> str:
    return "".join(letter if letter.isalnum() else "_" for letter in place.part.designator.lower())


_EDITS: dict[str, Callable[[FlatCircuit, PlacedPart, Edit, float | None], FlatCircuit]] = {
    "set": _set,
    "times": _times,
    "series": _series,
    "across": _across,
    "model": _model,
    "inside": _inside,
    "swap": _swap,
    "conduct": _conduct,
}
