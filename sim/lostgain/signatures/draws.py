"""Tolerance draws: what the parts of one built unit measure, within their tolerances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from lostgain.circuit import Circuit, FlatCircuit, PlacedPart
from lostgain.circuit.flat import parameter
from lostgain.circuit.mains import holding
from lostgain.unit.facts import Spread
from lostgain.unit.library import device

#: Draws are cut at this many standard deviations: a maker's final test throws out what lies further off.
CUT = 3.0
#: A resistance from this on [ohm] that a fault puts in is an open connection, and so many decades better or worse.
OPEN, OPEN_DECADES = 1e8, 1.0
#: What a fault leaves of an open capacitor, up to this [F], is so many decades more or less: its leads and its can
#: (common practice, no source).
LEFT, LEFT_DECADES = 10e-12, 0.5


@dataclass(frozen=True)
class Varied:
    """One number of the circuit that differs from unit to unit.

    Parameters
    ----------
    elements : tuple of str
        Elements whose value it is; several for one that makes up more than one element (a potentiometer's track).
    model : tuple of (str, str) or None
        Model and parameter, where it is a device's.
    change : callable
        From the nominal value and z, a standard normal deviate, to the value drawn.
    """

    elements: tuple[str, ...]
    model: tuple[str, str] | None
    change: Callable[[float, float], float]


@dataclass(frozen=True)
class Within:
    """Values spread over a tolerance: a normal distribution with two standard deviations at the tolerance's ends."""

    low: float
    high: float

    def __call__(self, nominal: float, z: float) -> float:
        """Return the value drawn."""
        middle, sigma = (self.low + self.high) / 2, (self.high - self.low) / 4
        return nominal * (1 + middle + sigma * z)


@dataclass(frozen=True)
class Device:
    """Values spread from device to device: by a factor, or by something added."""

    times: float
    add: float

    def __call__(self, nominal: float, z: float) -> float:
        """Return the value drawn."""
        return nominal * exp(z * log(self.times)) + z * self.add


def varied(circuit: Circuit) -> list[Varied]:
    """Return every number of a circuit that differs from unit to unit."""
    found: list[Varied] = []
    for place in circuit.parts.values():
        low, high = place.part.tolerance
        elements = _value_elements(place, circuit.flat) if high > low else ()
        if elements:
            found.append(Varied(elements, None, Within(low, high)))
        if place.part.device:
            for spread in device(place.part.device).spreads:
                found += _of_device(place, spread, circuit.flat)
    # Where the supply is described, a rail's tolerance is how far the mains takes it.
    for source, rail in holding(circuit.unit):
        found.append(Varied((source,), None, Within(*rail.tolerance)))
    return found


def _value_elements(place: PlacedPart, flat: FlatCircuit) -> tuple[str, ...]:
    """Return the elements that hold a part's value; none where an expression or a subcircuit of the user's does."""
    if not place.subckt:
        return (place.element,) if flat.elements[place.element].has_value else ()
    return place.track(flat) or ()


def _of_device(place: PlacedPart, spread: Spread, flat: FlatCircuit) -> list[Varied]:
    change = Device(spread.times, spread.add)
    if spread.parameter and place.subckt:
        return []
    if spread.parameter:
        model = flat.model_of(place.element)
        known = parameter(flat.models[model], spread.parameter) is not None
        return [Varied((), (model, spread.parameter), change)] if known else []
    try:
        return [Varied((place.inside(spread.element, flat),), None, change)]
    except KeyError:  # the unit's own netlist defines a subcircuit of that name
        return []


def deviates(count: int, dimensions: int, seed: int) -> NDArray[np.float64]:
    """Return standard normal deviates that fill their space evenly.

    Parameters
    ----------
    count : int
        Draws; a power of two keeps them balanced.
    dimensions : int
    seed : int

    Returns
    -------
    array, (draw, dimension)

    References
    ----------
    Sobol points, scrambled after Owen: ``scipy.stats.qmc.Sobol``.
    """
    if dimensions == 0:
        return np.zeros((count, 0))
    points = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed))
    uniform = points.random_base2((count - 1).bit_length())[:count]
    return np.asarray(np.clip(norm.ppf(np.clip(uniform, 1e-9, 1 - 1e-9)), -CUT, CUT))


def opens(count: int) -> NDArray[np.float64]:
    """Return how far each draw's open connections are from the catalogue's [decades], evenly within `OPEN_DECADES`.

    Parameters
    ----------
    count : int

    Returns
    -------
    array, (draw,)
    """
    evenly = qmc.Halton(1, scramble=False).random(count + 1)[1:, 0]  # the first of them is 0
    return np.asarray(OPEN_DECADES * (2 * evenly - 1))


def with_opens(faulty: FlatCircuit, whole: FlatCircuit, decades: float) -> FlatCircuit:
    """Return a faulty circuit whose open connections are so many decades better or worse.

    How open an open connection is, nobody knows; where a bias current flows through it, the DC behind it hangs on that.
    Nor how much is left of an open capacitor, which high frequencies still pass.

    Parameters
    ----------
    faulty, whole : FlatCircuit
        With a fault and without.
    decades : float
    """
    found = {}
    for name, element in faulty.elements.items():
        if name[0] not in "rc" or not element.has_value:
            continue
        if name in whole.elements and whole.elements[name].value == element.value:
            continue
        if name[0] == "r" and element.value >= OPEN:
            found[name] = element.value * 10**decades
        elif name[0] == "c" and element.value <= LEFT:
            found[name] = element.value * 10 ** (decades * LEFT_DECADES / OPEN_DECADES)
    return faulty.with_values(found)


def drawn(flat: FlatCircuit, numbers: list[Varied], z: NDArray[np.float64]) -> FlatCircuit:
    """Return the circuit of one unit built from parts drawn within their tolerances.

    Parameters
    ----------
    flat : FlatCircuit
        At nominal values.
    numbers : list of Varied
    z : array, (number,)
        Standard normal deviates.
    """
    values: dict[str, float] = {}
    parameters: dict[tuple[str, str], float] = {}
    for number, deviate in zip(numbers, z, strict=True):
        for element in number.elements:
            values[element] = number.change(flat.elements[element].value, float(deviate))
        if number.model is not None:
            nominal = parameter(flat.models[number.model[0]], number.model[1])
            assert nominal is not None
            parameters[number.model] = number.change(nominal, float(deviate))
    return flat.with_values(values).with_parameters(parameters)
