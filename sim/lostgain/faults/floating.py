"""What alone holds the DC of an input that takes no current: where it opens, the input floats."""

from __future__ import annotations

from lostgain.circuit import Circuit
from lostgain.faults.catalogue import Mode
from lostgain.unit.kinds import kinds

#: A resistance from this on is an open connection [ohm].
OPEN = 1e8
_GROUND = "0"
#: A part and its pin; of what is no part of the unit, such as the generator, the element and nothing.
_Contact = tuple[str, str]


def holders(circuit: Circuit) -> frozenset[_Contact]:
    """Return the parts that alone hold an input's DC, each with its pin on the way there.

    A grid leak does, and a grid stopper in front of it: where one of them opens, what the grid then lies at comes of
    leakage and of its own current, which differ from one valve, chip or transistor to the next.

    Parameters
    ----------
    circuit : Circuit
    """
    inputs = [
        (name, circuit.node_of(name, pin))
        for name, place in circuit.parts.items()
        for pin in kinds()[place.part.kind].inputs
    ]
    at = _without_dead_ends(circuit, _contacts(circuit), {_GROUND, *(node for _, node in inputs)})
    return frozenset().union(*(_only_way(circuit, name, node, at) for name, node in inputs))


def floats(mode: Mode, part: str, held_by: frozenset[_Contact]) -> bool:
    """Tell whether a part that fails that way leaves an input floating.

    Parameters
    ----------
    mode : Mode
    part : str
    held_by : frozenset
        What `holders` found.
    """
    opened = [edit.pins for edit in mode.edits if edit.do == "series" and (edit.ohms or 0.0) >= OPEN]
    if any((part, pin) in held_by for pins in opened for pin in pins):
        return True
    gone = any(edit.do == "set" and (edit.to or 0.0) >= OPEN for edit in mode.edits)
    return gone and any(part == holder for holder, _ in held_by)


def _contacts(circuit: Circuit) -> dict[str, list[_Contact]]:
    """Return what lets DC through at each node: neither capacitors nor the inputs themselves."""
    at: dict[str, list[_Contact]] = {}
    ends = set()
    for name, place in circuit.parts.items():
        kind = kinds()[place.part.kind]
        for pin, contact in place.pins.items():
            ends.add(contact.element)
            if kind.family != "capacitor" and pin not in kind.inputs:
                at.setdefault(circuit.node_of(name, pin), []).append((name, pin))
    for element in circuit.flat.elements.values():
        if element.name not in ends and not element.name.startswith("c"):
            for node in element.nodes:
                at.setdefault(node, []).append((element.name, ""))
    return at


def _without_dead_ends(circuit: Circuit, at: dict[str, list[_Contact]], live: set[str]) -> dict[str, list[_Contact]]:
    """Leave out parts with an end where nothing else lets DC through: no current comes that way."""
    while True:
        dead = {ways[0][0] for node, ways in at.items() if len(ways) == 1 and node not in live}
        dead = {name for name in dead if len(_ends(circuit, name)) == 2}
        if not dead:
            return at
        at = {node: [each for each in ways if each[0] not in dead] for node, ways in at.items()}


def _only_way(circuit: Circuit, part: str, node: str, at: dict[str, list[_Contact]]) -> set[_Contact]:
    """Follow the only way DC takes to an input, part by part, until there is another or it ends in a device."""
    found: set[_Contact] = set()
    last = ""
    while node != _GROUND:
        # What has just been passed is no way to the input but the way from it.
        ways = [each for each in at.get(node, ()) if each[0] != last]
        if len(ways) != 1 or ways[0][0] == part:
            break
        last, pin = ways[0]
        ends = _ends(circuit, last)
        if last in circuit.parts:
            found |= {(last, each) for each in (ends if len(ends) == 2 else (pin,))}
        if len(ends) != 2:
            break
        node = next((other for other in ends.values() if other != node), _GROUND)
    return found


def _ends(circuit: Circuit, name: str) -> dict[str, str]:
    """Return the nodes of a part by its pins; of a wire where a stage's optional part is absent, by their numbers."""
    if name in circuit.parts:
        return {pin: circuit.node_of(name, pin) for pin in circuit.parts[name].pins}
    nodes = circuit.flat.elements[name].nodes if name.startswith("r") else ()
    return {str(number): node for number, node in enumerate(nodes)}
