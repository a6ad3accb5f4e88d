"""The circuit with the power off: supplies gone, chips as their pins' junctions, electrolytics with their ESR."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import exp, log

from lostgain.circuit import Circuit, Element, FlatCircuit, PlacedPart
from lostgain.circuit.model import GENERATOR, LOAD, SOURCE, rail_node
from lostgain.signatures.poweroff_esr import dielectric_esr, dried, electrolyte_ohms, esr_table
from lostgain.signatures.poweroff_facts import Facts

#: A contact that is open, and one that is closed [ohm].
OPEN_OHMS, CLOSED_OHMS = 1e9, 0.05
#: What every node has to ground [ohm], so that none hangs in the air: far above what a meter reads.
FLOAT = ".options rshunt=1e12 cshunt=1e-13"
#: A described supply: its source on the mains, and how the names end of what holds its reservoirs and of what the other
#: channels draw.
PLUG, HOLD, OTHERS = "v_mains", "_hold", "_others"
#: Names of what is added here.
OFF = "roff_"


def varied_off(circuit: Circuit) -> tuple[str, ...]:
    """Return what differs from unit to unit besides the parts' values, by name: rails, and each electrolytic's losses.

    Each is a standard normal deviate in what `unpowered` is given.
    """
    rails = [f"rail {rail.name}" for rail in circuit.unit.rails]
    stand_ins = [f"stand-in {stage.name}" for stage in circuit.unit.stages if stage.source == "stand-in"]
    parts = [name for name, place in circuit.parts.items() if place.part.kind in esr_table().kinds]
    return (*rails, *stand_ins, *(f"{what} {name}" for name in parts for what in ("esr", "dry", "leak")))


def at_rest(circuit: Circuit, flat: FlatCircuit, facts: Facts, let_go: bool = True) -> FlatCircuit:
    """Return the circuit with the contacts of relays and mutes as they are when nothing feeds them.

    To be done before a fault is put in, which may hold a contact where it is.

    Parameters
    ----------
    circuit : Circuit
    flat : FlatCircuit
        Healthy, at any tolerances.
    facts : Facts
    let_go : bool
        False for a mute the other way round, as a transistor is.
    """
    values = {}
    for place in circuit.parts.values():
        element = flat.elements.get(place.element)
        if place.part.kind in ("relay", "mute") and element is not None and element.has_value:
            closed = facts.relay_closed if place.part.kind == "relay" else facts.mute_closed == let_go
            values[place.element] = CLOSED_OHMS if closed else OPEN_OHMS
    return flat.with_values(values)


def unpowered(
    circuit: Circuit, flat: FlatCircuit, facts: Facts, z: Mapping[str, float] | None = None, pins: bool = True
) -> FlatCircuit:
    """Return a circuit, healthy or faulty, with the power off.

    Parameters
    ----------
    circuit : Circuit
    flat : FlatCircuit
        From `at_rest`, with any fault in it.
    facts : Facts
    z : mapping or None
        Deviates by the names of `varied_off`; all zero if None.
    pins : bool
        False for chips without junctions between their signal pins and their supply pins.
    """
    z = z or {}
    elements = dict(flat.elements)
    models = dict(flat.models)
    _bench(elements, facts)
    _supplies(elements, circuit, facts, z)
    _stand_ins(elements, circuit, facts, z)
    for place in circuit.parts.values():
        if place.part.kind == "opamp" and place.subckt:
            _chip(elements, models, place, facts, pins)
    _dead_sources(elements, facts, z)
    for place in circuit.parts.values():
        if place.part.kind in esr_table().kinds:
            _electrolytic(elements, place, facts, z)
    used = {element.rest.split()[0] for element in elements.values() if element.name[0] in "dqjmz"}
    kept = {name: text for name, text in models.items() if name in used or not _is_device(text)}
    return replace(flat, elements=elements, models=kept, other=(*flat.other, FLOAT))


def _is_device(text: str) -> bool:
    return text.split("(")[0].split()[0].lower() in ("d", "npn", "pnp", "njf", "pjf", "nmos", "pmos", "nmf", "pmf")


def _bench(elements: dict[str, Element], facts: Facts) -> None:
    """Unplug the generator and the load."""
    gone = [GENERATOR, SOURCE]
    if facts.generator:  # switched off but plugged in: its source resistance stays
        elements[GENERATOR] = replace(elements[GENERATOR], rest="0")
        gone = []
    if not facts.load:
        gone += [name for name in elements if LOAD in name]
    for name in gone:
        elements.pop(name, None)


def _supplies(elements: dict[str, Element], circuit: Circuit, facts: Facts, z: Mapping[str, float]) -> None:
    """Put what an empty supply is in the place of each rail: its bleeder, or something uncertain; and its reservoir."""
    unit = circuit.unit
    held = _reservoirs(circuit)
    for rail in unit.rails:
        node = rail_node(rail.name)
        source = elements.pop(f"v_{node}", None)
        if source is None:
            continue
        ohms = facts.rails.get(rail.name)
        if ohms is None:
            ohms = facts.rail_ohms * exp(z.get(f"rail {rail.name}", 0.0) * log(facts.rail_times))
        for number in held.get(rail.name, ()):
            reservoir = unit.reservoirs[number]
            inner = f"off_{node}_{number}"
            esr = electrolyte_ohms(reservoir.capacitance, abs(reservoir.volts))
            _add(elements, f"c{inner}", (source.nodes[0], inner), reservoir.capacitance)
            _add(elements, f"{OFF}{inner}", (inner, "0"), esr)
            if reservoir.bleeder and rail.name not in facts.rails:
                ohms = 1 / (1 / ohms + 1 / reservoir.bleeder)
        _add(elements, f"{OFF}{node}", (source.nodes[0], "0"), ohms)


def _reservoirs(circuit: Circuit) -> dict[str, list[int]]:
    """Return which reservoirs hang on which rail: the next one of its voltage; what is left over on the first such."""
    unit = circuit.unit
    found: dict[str, list[int]] = {}
    for number, reservoir in enumerate(unit.reservoirs):
        volts = abs(reservoir.volts)
        alike = [rail.name for rail in unit.rails if abs(abs(rail.volts) - volts) < 0.2 * abs(rail.volts)]
        if alike:
            fewest = min(len(found.get(name, ())) for name in alike)
            name = next(name for name in alike if len(found.get(name, ())) == fewest)
            found.setdefault(name, []).append(number)
    return found


def _stand_ins(elements: dict[str, Element], circuit: Circuit, facts: Facts, z: Mapping[str, float]) -> None:
    """A stage that nobody has drawn: open at its input, something uncertain at its output."""
    for stage in circuit.unit.stages:
        end = circuit.stage_ends.get(stage.name)
        if stage.source != "stand-in" or end is None:
            continue
        out = [name for name, each in elements.items() if name[0] == "r" and name.endswith("_o") and end in each.nodes]
        for name in out:
            stem = name[1:-2]
            for own in [each for each in elements if each[1:].startswith(stem) and each[0] in "crev"]:
                del elements[own]
            ohms = facts.stand_in_ohms * exp(z.get(f"stand-in {stage.name}", 0.0) * log(facts.stand_in_times))
            _add(elements, f"{OFF}{stem}", (end, "0"), ohms)


def inside(elements: Mapping[str, Element], place: PlacedPart) -> Iterator[str]:
    """Yield the names of the elements inside a part that is a subcircuit."""
    path = place.element.lower()
    for name in elements:
        if name[1:].startswith(f".{path}.") or name.startswith(f"{path}."):
            yield name


def _chip(elements: dict[str, Element], models: dict[str, str], place: PlacedPart, facts: Facts, pins: bool) -> None:
    """Put the junctions of its pins in the place of a chip that nothing feeds."""
    for name in list(inside(elements, place)):
        del elements[name]
    at = {pin: elements[where.element].nodes[1 - where.index] for pin, where in place.pins.items()}
    if not {"vp", "vn"} <= at.keys():
        return
    stem = place.element.lower().replace(".", "_")
    models["moff_supply"], models["moff_pins"] = facts.chip_supply, facts.chip_pins
    elements[f"doff_{stem}_supply"] = Element(f"doff_{stem}_supply", (at["vn"], at["vp"]), "moff_supply")
    for pin in at.keys() - {"vp", "vn"} if pins else ():
        for way, nodes in (("up", (at[pin], at["vp"])), ("down", (at["vn"], at[pin]))):
            name = f"doff_{stem}_{pin}_{way}"
            elements[name] = Element(name, nodes, "moff_pins")


def _dead_sources(elements: dict[str, Element], facts: Facts, z: Mapping[str, float]) -> None:
    """Supplies and controlled currents that a netlist brings along: without power they are open, or uncertain.

    The mains plug is pulled, and what holds a described supply's reservoirs at their voltage, or stands for the current
    of the other channels, is gone.
    """
    for name, element in list(elements.items()):
        kind = name[0].lower()
        plugged = name == PLUG or (kind == "g" and name.endswith(OTHERS))
        if kind == "i" or plugged or (kind == "b" and "i" in element.rest.lower().split("=")[0]):
            del elements[name]
        elif kind == "v" and name != GENERATOR and element.has_value and element.value:
            del elements[name]
            ohms = facts.rail_ohms * exp(z.get(f"rail {_rail_of(name)}", 0.0) * log(facts.rail_times))
            _add(elements, f"{OFF}{name.replace('.', '_')}", element.nodes[:2], ohms)


def _rail_of(source: str) -> str:
    """Return the rail that a source feeds, by its name."""
    return source.removeprefix("v_").removesuffix(HOLD).upper()


def _electrolytic(elements: dict[str, Element], place: PlacedPart, facts: Facts, z: Mapping[str, float]) -> None:
    """Put its ESR in series with an electrolytic, and its leakage across both, whatever fault it has."""
    element = elements.get(place.element)
    part, table = place.part, esr_table()
    if element is None or place.subckt or not element.has_value or not part.value:
        return
    name = part.designator
    share = element.value / part.value
    # Within its tolerance a part is not dry.
    dry = dried(share) if not 0.7 <= share <= 1.5 else 1.0
    dry *= exp(z.get(f"dry {name}", 0.0) * log(table.lost_times)) if share < 0.7 else 1.0
    ohms = electrolyte_ohms(part.value, part.rating, facts.series.get(name, "general"), facts.esr.get(name))
    ohms *= dry * exp(z.get(f"esr {name}", 0.0) * log(table.part_times))
    ohms += dielectric_esr(element.value, ESR_AT)
    stem = place.element.lower().replace(".", "_")
    inner = f"off_{stem}"
    elements[place.element] = element.with_node(1, inner)
    _add(elements, f"{OFF}esr_{stem}", (inner, element.nodes[1]), ohms)
    leak = facts.leak_seconds / element.value * exp(z.get(f"leak {name}", 0.0) * log(facts.leak_times))
    _add(elements, f"{OFF}leak_{stem}", element.nodes, leak)


#: Frequency that the dielectric's losses are put in at [Hz]: that of ESR meters.
ESR_AT = 100e3


def own_elements(flat: FlatCircuit, place: PlacedPart) -> list[Element]:
    """Return the elements that make up a part in an unpowered circuit, its faults included and its joints left out.

    Parameters
    ----------
    flat : FlatCircuit
        From `unpowered`.
    place : PlacedPart
    """
    stem = place.element.lower().replace(".", "_")
    plain = "".join(letter if letter.isalnum() else "_" for letter in place.part.designator.lower())
    names = set(inside(flat.elements, place)) | {pin.element for pin in place.pins.values()}
    names |= {place.element, f"{OFF}esr_{stem}", f"{OFF}leak_{stem}"}
    names |= {name for name in flat.elements if name[1:].startswith(f"fault_{plain}_")}
    return [flat.elements[name] for name in flat.elements if name in names]


def _add(elements: dict[str, Element], name: str, nodes: tuple[str, ...], value: float) -> None:
    elements[name] = Element(name, (nodes[0], nodes[1]), f"{value:.12g}")
