"""One unit as it was built: parts within their tolerances, devices of another maker, a generator and controls."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from benchmarks.opamps import fitted
from benchmarks.process import aside, normal, process
from lostgain.circuit import Circuit, FlatCircuit, PlacedPart
from lostgain.circuit.flat import parameter, set_parameter
from lostgain.unit.library import device


@dataclass(frozen=True)
class Bench:
    """What the channels on one bench share.

    Parameters
    ----------
    makers : mapping
        Device class and parameter to factor.
    generator : float
        Level of the generator against what its scale says, as a factor.
    control : float
        Position of the level controls against their marks [dB].
    """

    makers: dict[tuple[str, str], float]
    generator: float
    control: float


def bench(circuit: Circuit, rng: np.random.Generator) -> Bench:
    """Draw what the channels on one bench share."""
    setting = process()["setting"]
    classes = sorted({place.part.device for place in circuit.parts.values() if place.part.device})
    makers = {(name, key): aside(rng, ends) for name in classes for key, ends in process()["makers"].items()}
    generator = 10 ** (setting["generator_db"] * normal(rng) / 20)
    return Bench(makers, generator, setting["control_db"] * normal(rng))


def built(circuit: Circuit, shared: Bench, rng: np.random.Generator) -> FlatCircuit:
    """Draw the parts of one channel.

    Parameters
    ----------
    circuit : Circuit
        Gives the schematic; its numbers are nominal values.
    shared : Bench
    rng : Generator
    """
    flat = circuit.flat
    for place in circuit.parts.values():
        if place.part.kind == "potentiometer":
            flat = _control(flat, place, shared, rng)
        elif place.part.kind == "opamp" and place.subckt:
            flat = _op_amp(flat, place, shared, rng)
        elif place.part.device and place.subckt:
            flat = _inside(flat, place, rng)
        elif place.part.device:
            flat = _device(flat, place, shared, rng)
        elif place.element in flat.elements and flat.elements[place.element].has_value:
            factor = _within(place.part.tolerance, rng)
            flat = flat.with_values({place.element: flat.elements[place.element].value * factor})
    return replace(flat, other=tuple(line for line in flat.other if not line.startswith(".nodeset")))


def _within(tolerance: tuple[float, float], rng: np.random.Generator) -> float:
    low, high = tolerance
    sigma = (high - low) / 2 / float(process()["tolerances"]["sigma_at_ends"])
    return 1 + (low + high) / 2 + sigma * normal(rng)


def _control(flat: FlatCircuit, place: PlacedPart, shared: Bench, rng: np.random.Generator) -> FlatCircuit:
    top, bottom = (place.inside(name, flat) for name in ("rtop", "rbot"))
    track = flat.elements[top].value + flat.elements[bottom].value
    share = flat.elements[bottom].value / track
    off = shared.control + process()["setting"]["tracking_db"] * normal(rng)
    turned = min(share * 10 ** (off / 20), 1.0)
    track *= _within(place.part.tolerance, rng)
    return flat.with_values({top: max(track * (1 - turned), 1e-3), bottom: max(track * turned, 1e-3)})


def _device(flat: FlatCircuit, place: PlacedPart, shared: Bench, rng: np.random.Generator) -> FlatCircuit:
    name = place.part.device or ""
    model = flat.model_of(place.element)
    text = flat.models[model]
    for key in process()["makers"]:
        if (now := parameter(text, key)) is not None:
            text = set_parameter(text, key, now * shared.makers[name, key])
    for spread in device(name).spreads:
        now = parameter(text, spread.parameter) if spread.parameter else None
        if now is not None:
            z = normal(rng)
            text = set_parameter(text, spread.parameter, now * spread.times**z + spread.add * z)
    return replace(flat, models={**flat.models, model: text})


def _inside(flat: FlatCircuit, place: PlacedPart, rng: np.random.Generator) -> FlatCircuit:
    """Draw what differs from device to device of a valve, a transformer or a regulator."""
    for spread in device(place.part.device or "").spreads:
        if spread.element:
            try:
                name = place.inside(spread.element, flat)
            except KeyError:  # the unit's own netlist defines a subcircuit of that name
                continue
            z = normal(rng)
            flat = flat.with_values({name: flat.elements[name].value * spread.times**z + spread.add * z})
    return flat


def _op_amp(flat: FlatCircuit, place: PlacedPart, shared: Bench, rng: np.random.Generator) -> FlatCircuit:
    name = place.part.device or ""
    known = device(name)
    facts = {key: value * shared.makers.get((name, key), 1.0) for key, value in known.facts.items()}
    spreads = {spread.name: spread for spread in known.spreads}
    facts["gain_bandwidth"] *= spreads["gbw"].times ** normal(rng)
    facts["open_loop_gain"] *= spreads["gain"].times ** normal(rng)
    share = 1 + process()["opamps"]["offset_add"] * rng.uniform(-1, 1)
    return fitted(flat, place, facts, spreads["vos"].add * share * normal(rng))
