"""What is wrong with a simulated unit: drawn from the stated prior."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchmarks.process import between, process
from lostgain.circuit import Circuit
from lostgain.faults import Fault, Mode, listing, modes_for, rates

#: A resistance of no more than this is a wire: a pin, or where a part is not fitted.
WIRE_OHM = 1e-3


@dataclass(frozen=True)
class Truth:
    """What is wrong with one simulated unit.

    Parameters
    ----------
    kind : str
        ``fault``, ``healthy`` or ``outsider``.
    fault : Fault or None
    stages : tuple of str
        The stage, or stages, of the part.
    says : str
        For people.
    outside : tuple of Element-like (str, str, float) or of (part, factor)
        What an outsider does: nodes bridged by ohms, or parts off by a factor.
    """

    kind: str
    fault: Fault | None = None
    stages: tuple[str, ...] = ()
    says: str = ""
    outside: tuple[tuple[str, str, float], ...] = ()

    @property
    def part(self) -> str:
        """The part that failed, or empty."""
        return self.fault.part if self.fault else ""

    @property
    def bad(self) -> tuple[str, ...]:
        """All parts that are bad: of two that are off at once, either is rightly named."""
        return (self.part,) if self.fault else tuple(one for one, other, _ in self.outside if not other)


@dataclass(frozen=True)
class Prior:
    """How likely each part and mode of a unit is, by the named set of rates.

    Parameters
    ----------
    circuit : Circuit
    rate_set : str
    """

    circuit: Circuit
    rate_set: str = "bench"

    @cached_property
    def modes(self) -> tuple[Fault, ...]:
        """Each part and mode once, with any severity; none of a supply's, since the mains is not followed."""
        supplies = {supply.name for supply in self.circuit.unit.supplies}
        every = (fault for fault in listing(self.circuit) if fault.stage not in supplies)
        return tuple({(fault.part, fault.mode): fault for fault in every}.values())

    @cached_property
    def shares(self) -> NDArray[np.float64]:
        """Probability of each of `modes`: array, (mode,), adding up to one."""
        chosen = rates(self.rate_set)
        weight = []
        for fault in self.modes:
            if fault.members:
                weight.append(chosen.of_cluster(fault.mode))
            else:
                kind = self.circuit.parts[fault.part].part.kind
                weight.append(chosen.of_kind(kind) * chosen.of_mode(kind, fault.mode))
        found = np.array(weight, dtype=float)
        return np.asarray(found / found.sum())

    def fault(self, rng: np.random.Generator, number: int | None = None) -> Truth:
        """Draw a fault; of part and mode `number`, if given, with a severity."""
        at = int(rng.choice(len(self.modes), p=self.shares)) if number is None else number
        chosen = self.modes[at]
        if not chosen.members:
            kind = self.circuit.parts[chosen.part].part.kind
            mode = next(each for each in modes_for(kind) if each.name == chosen.mode)
            level = severity(mode, rng) if mode.severity else None
            chosen = Fault(chosen.part, chosen.mode, level, chosen.stage, (), chosen.shared)
        return Truth("fault", chosen, (chosen.stage,), chosen.label)

    def outsider(self, rng: np.random.Generator) -> Truth:
        """Draw a fault that the catalogue does not hold."""
        own = process()["outsiders"]
        kinds = [name for name, value in own.items() if not isinstance(value, list)]
        kind = kinds[int(rng.choice(len(kinds), p=np.array([own[name] for name in kinds])))]
        stages = [stage.name for stage in self.circuit.unit.stages if len(self._nodes(stage.name)) > 1]
        stage = stages[int(rng.integers(len(stages)))]
        nodes = self._nodes(stage)
        if kind == "two":
            return self._two(stage, rng) or self.outsider(rng)
        one, other = (nodes[int(each)] for each in rng.choice(len(nodes), 2, replace=False))
        if kind == "leak":
            ends = sorted(self._ends)
            other = ends[int(rng.integers(len(ends)))]
            if one == other:
                return self.outsider(rng)
        ohms = between(rng, own[f"{kind}_ohm"])
        if self._known(one, other):
            return self.outsider(rng)
        says = f"{kind} {one} to {other}, {ohms:.3g} ohm"
        return Truth("outsider", None, self._stages_at({one, other} - self._ends), says, ((one, other, ohms),))

    def _known(self, one: str, other: str) -> bool:
        """Whether a resistance between two nodes is a fault of the catalogue: a short or a leak of a part there."""
        for name, place in self.circuit.parts.items():
            pins = {self._copper(self.circuit.node_of(name, pin)) for pin in place.pins}
            if {one, other} <= pins:
                return True
        return False

    def _two(self, stage: str, rng: np.random.Generator) -> Truth | None:
        parts = [name for name, place in self.circuit.parts.items()
                 if place.part.stage == stage and place.part.kind == "resistor"]  # fmt: skip
        if len(parts) < 2:
            return None
        names = [parts[int(each)] for each in rng.choice(len(parts), 2, replace=False)]
        off = tuple((name, "", between(rng, [2.0, 20.0]) ** rng.choice([-1, 1])) for name in names)
        says = " and ".join(f"{name} times {factor:.3g}" for name, _, factor in off)
        return Truth("outsider", None, (stage,), says, off)

    @property
    def _ends(self) -> set[str]:
        """Rails and ground, which are of no stage."""
        return {"0", *(rail.name.lower() for rail in self.circuit.unit.rails)}

    def _stages_at(self, nodes: set[str]) -> tuple[str, ...]:
        """Stages that have parts at all of these nodes: each of them is the right one to look in."""
        return tuple(stage.name for stage in self.circuit.unit.stages if nodes <= set(self._nodes(stage.name)))

    def _copper(self, node: str) -> str:
        """One name for all nodes that wires join, as where a part is not fitted: one piece of copper."""
        return self._wires.get(node, node)

    @cached_property
    def _wires(self) -> dict[str, str]:
        joined: dict[str, set[str]] = {}
        for element in self.circuit.flat.elements.values():
            if element.name.startswith("r") and element.has_value and element.value <= WIRE_OHM:
                one, other = (joined.setdefault(node, {node}) for node in element.nodes)
                one |= other
                joined.update(dict.fromkeys(one, one))
        return {node: min(nodes, key=lambda each: (each not in self._ends, "." in each, each))
                for node, nodes in joined.items()}  # fmt: skip

    def _nodes(self, stage: str) -> list[str]:
        """Board nodes at the pins of a stage's parts, ground and rails left out."""
        found = {
            self._copper(self.circuit.node_of(name, pin))
            for name, place in self.circuit.parts.items()
            if place.part.stage == stage
            for pin in place.pins
        }
        return sorted(found - self._ends)


def severity(mode: Mode, rng: np.random.Generator) -> float:
    """Draw a severity.

    Parameters
    ----------
    mode : Mode
        With a severity.
    rng : Generator

    Notes
    -----
    The density over the logarithm is, at each level of the catalogue, its weight over the stretch half-way to its
    neighbours (an outer one's stretch lies evenly about it), and runs straight from one level to the next. Rejection
    sampling. Values within a factor of 1.25 of nominal are no fault and not drawn.
    """
    own = process()["faults"]
    if mode.name == "wrong":
        return float(rng.choice(mode.levels) * (1 + own["wrong_within"] * rng.uniform(-1, 1)))
    levels, weights = _sorted(mode.levels, mode.weights)
    if len(levels) == 1:
        spread = np.log(own["single_within"])
        return float(levels[0] * np.exp(rng.uniform(-spread, spread)))
    at = np.log(levels)
    gaps = np.diff(at)
    stretch = np.concatenate([[gaps[0]], (gaps[1:] + gaps[:-1]) / 2, [gaps[-1]]])
    height = np.array(weights) / stretch
    while True:
        x = rng.uniform(at[0], at[-1])
        if rng.uniform(0, height.max()) < np.interp(x, at, height) and not (
            mode.severity == "times" and abs(x) < np.log(1.25)
        ):
            return float(np.exp(x))


def _sorted(levels: Sequence[float], weights: Sequence[float]) -> tuple[list[float], list[float]]:
    pairs = sorted(zip(levels, weights, strict=True))
    return [level for level, _ in pairs], [weight for _, weight in pairs]
