"""Valves' heaters on a described supply: what heats which valve, and what is left of a valve that gets less.

A valve's model takes its heater as hot. Where a supply stage feeds the heaters, the power in the resistor that stands
for them is found with the mains on; the share of the healthy unit's that is left says how much the valves emit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit.flat import Element, FlatCircuit
from lostgain.circuit.model import PlacedPart
from lostgain.circuit.names import supply_path
from lostgain.unit.library import device
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.model import Stage, Unit

Values = NDArray[np.float64]

VALVES = ("triode", "pentode")
#: Share of the healthy heater voltage (as the root of the power), and the emission that is left: hardly less down to
#: nine tenths, then ever less, for the cathode limits the current. Common practice, no source.
VOLTS = (0.0, 0.4, 0.6, 0.75, 0.9)
EMISSION = (1e-6, 1e-3, 0.1, 0.6, 1.0)
#: From either end of an AC heater to the grid of each valve it heats, through socket and wiring [F]: what a
#: hum-balancing pair cancels. Common practice, no source.
STRAYS = (0.22e-12, 0.18e-12)


@dataclass(frozen=True)
class Heating:
    """A supply stage that feeds heaters.

    Parameters
    ----------
    stage : Stage
    element : str
        In the flat circuit: the resistor that stands for the heaters.
    ohms : float
        What it has when healthy.
    kept : str
        The source that keeps the power in it [V for W], in the healthy unit's circuit and in a faulty one.
    ends : tuple of str
        Both ends of an AC heater that has a stray capacitance to the grids; empty for DC.
    """

    stage: Stage
    element: str
    ohms: float
    kept: str
    ends: tuple[str, ...]

    def heats(self, place: PlacedPart) -> bool:
        """Tell whether a part is a valve that it heats."""
        return place.part.kind in VALVES and (not self.stage.heats or place.part.designator in self.stage.heats)


def heatings(unit: Unit) -> tuple[Heating, ...]:
    """Return the supply stages that feed heaters."""
    return tuple(_heatings(unit))


def _heatings(unit: Unit) -> Iterator[Heating]:
    for number, stage in enumerate(unit.supplies, 1):
        facts = stage_facts(stage.library)
        if facts.heats:
            path = supply_path(number, stage)
            part = next(each for each in unit.parts.values() if (each.stage, each.role) == (stage.name, facts.heats))
            element = f"r.x{path}.{facts.roles[facts.heats].element.lower()}"
            ends = () if facts.delivers else (f"{path}_out", f"{path}_out2")
            yield Heating(stage, element, part.value or 1.0, f"v_{path}_heat", ends)


def kept_lines(path: str) -> list[str]:
    """Return the source that keeps the power in the heaters of a supply stage."""
    return [f"v_{path}_heat {path}_heat 0 1", f"r_{path}_heat {path}_heat 0 1k"]


def ends_of(flat: FlatCircuit, heating: Sequence[Heating]) -> list[str]:
    """Return the nodes whose voltages tell the power in the heaters."""
    return both_ends(flat, [each.element for each in heating])


def both_ends(flat: FlatCircuit, elements: Sequence[str]) -> list[str]:
    """Return the nodes at both ends of elements, but for ground."""
    return [node for name in elements for node in flat.elements[name].nodes if node != "0"]


def across(flat: FlatCircuit, element: str, seen: Mapping[str, Values]) -> Values:
    """Return the voltage over an element in time, from those of the nodes at its ends."""
    one, other = (seen[node] if node != "0" else np.zeros(1) for node in flat.elements[element].nodes)
    return one - other


def currents(flat: FlatCircuit, resistors: Sequence[str], seen: Mapping[str, Values]) -> Values:
    """Return the current through resistors [A rms]: array, (resistor,)."""
    return np.array([np.sqrt(np.mean(across(flat, each, seen) ** 2)) / flat.elements[each].value for each in resistors])


def power(flat: FlatCircuit, heating: Sequence[Heating], seen: Mapping[str, Values]) -> Values:
    """Return the power in the heaters [W]: array, (heating,).

    Parameters
    ----------
    flat : FlatCircuit
    heating : sequence of Heating
    seen : mapping
        The nodes of `ends_of` to their voltages over one cycle of the mains.
    """
    watts = []
    for each in heating:
        # a short across them takes power that heats nothing
        ohms = max(flat.elements[each.element].value, each.ohms)
        watts.append(float(np.mean(across(flat, each.element, seen) ** 2)) / ohms)
    return np.array(watts)


def kept(flat: FlatCircuit, heating: Sequence[Heating]) -> Values:
    """Return the power that a circuit keeps for its heaters [W]: array, (heating,)."""
    return np.array([flat.elements[each.kept].value for each in heating])


def warmed(
    flat: FlatCircuit, healthy: FlatCircuit, unit: Unit, parts: Mapping[str, PlacedPart], watts: Values
) -> FlatCircuit:
    """Return a circuit whose valves emit what their heaters let them; itself where they are as hot as when healthy.

    Parameters
    ----------
    flat, healthy : FlatCircuit
    unit : Unit
    parts : mapping
        Designator to PlacedPart.
    watts : array, (heating,)
        The power in the heaters.
    """
    values: dict[str, float] = {}
    for each, found, whole in zip(heatings(unit), watts, kept(healthy, heatings(unit)), strict=True):
        share = float(np.interp(np.sqrt(max(found, 0.0) / whole), VOLTS, EMISSION))
        if share == EMISSION[-1]:
            continue
        values[each.kept] = float(found)
        for place in filter(each.heats, parts.values()):
            if place.part.device and "emission" in device(place.part.device).faults:
                name = place.inside(str(device(place.part.device).faults["emission"]["element"]), flat)
                values[name] = values.get(name, flat.elements[name].value) * share
    return flat.with_values(values) if values else flat


def with_strays(flat: FlatCircuit, unit: Unit, parts: Mapping[str, PlacedPart]) -> FlatCircuit:
    """Return the circuit with what couples AC heaters to the grids of their valves."""
    found = []
    for each in heatings(unit):
        for place in filter(each.heats, parts.values() if each.ends else ()):
            pin = place.pins["g"]
            grid = flat.elements[pin.element].nodes[pin.index]
            name = place.part.designator.lower()
            found += [
                Element(f"c_heater{number}_{name}", (end, grid), f"{farads:.12g}")
                for number, (end, farads) in enumerate(zip(each.ends, STRAYS, strict=True), 1)
            ]
    return flat.with_elements(*found) if found else flat
