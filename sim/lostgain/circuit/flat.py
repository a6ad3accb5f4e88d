"""The flat circuit: what ngspice itself prints of a netlist, as elements that can be found and changed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

#: Letters of the elements that have a model of their own, and how many nodes each has at least.
WITH_MODEL = {"d": 2, "q": 3, "j": 3, "m": 3, "z": 3}

_PARAMETER = re.compile(r"(\w+)\s*=\s*([^\s()=]+)")


@dataclass(frozen=True)
class Element:
    """One element of the flat circuit.

    Parameters
    ----------
    name : str
        Hierarchical name as ngspice prints it, ``r.xpreamplifier.rf``.
    nodes : tuple of str
    rest : str
        What follows the nodes: value, model name, expression.
    """

    name: str
    nodes: tuple[str, ...]
    rest: str

    @property
    def value(self) -> float:
        """The first number after the nodes (SI): a resistor's ohms, a capacitor's farads, a source's DC volts."""
        return float(self.rest.split()[0])

    @property
    def has_value(self) -> bool:
        """Whether a number follows the nodes, which can be changed; else an expression, or the sizes of a model, do."""
        try:
            return bool(self.rest) and math.isfinite(self.value)
        except ValueError:
            return False

    def with_value(self, value: float) -> Element:
        """Return the element with another value, all else kept."""
        _, _, tail = self.rest.partition(" ")
        return replace(self, rest=f"{value:.12g} {tail}".strip())

    def with_node(self, index: int, node: str) -> Element:
        """Return the element with one of its nodes moved."""
        nodes = list(self.nodes)
        nodes[index] = node
        return replace(self, nodes=tuple(nodes))

    def line(self) -> str:
        """Return the element as a netlist line."""
        return " ".join((self.name, *self.nodes, self.rest))


@dataclass(frozen=True)
class FlatCircuit:
    """A circuit without subcircuits.

    Parameters
    ----------
    elements : mapping
        Element name to Element, in netlist order.
    models : mapping
        Model name to its text behind the name: ``npn(is=1e-14 bf=200)``.
    other : tuple of str
        Lines such as ``.options``.
    """

    elements: Mapping[str, Element]
    models: Mapping[str, str] = field(default_factory=dict)
    other: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return the netlist, title and ``.end`` included."""
        return [
            "* flat circuit",
            *(element.line() for element in self.elements.values()),
            *(f".model {name} {text}" for name, text in self.models.items()),
            *self.other,
            ".end",
        ]

    def with_elements(self, *changed: Element) -> FlatCircuit:
        """Return a copy with elements added or replaced by name."""
        elements = dict(self.elements)
        elements.update((element.name, element) for element in changed)
        return replace(self, elements=elements)

    def with_values(self, values: Mapping[str, float]) -> FlatCircuit:
        """Return a copy in which the elements named have other values (SI)."""
        return self.with_elements(*(self.elements[name].with_value(value) for name, value in values.items()))

    def with_parameters(self, changes: Mapping[tuple[str, str], float]) -> FlatCircuit:
        """Return a copy with model parameters set: ``{(model, parameter): value}``."""
        models = dict(self.models)
        for (model, parameter), value in changes.items():
            models[model] = set_parameter(models[model], parameter, value)
        return replace(self, models=models)

    def changes_from(self, other: FlatCircuit) -> tuple[dict[str, float], dict[tuple[str, str], float]] | None:
        """Return the numbers in which this circuit differs from another, or None where it differs in more than that.

        Returns
        -------
        values : dict
            Element name to value (SI).
        parameters : dict
            ``(model, parameter)`` to value.
        """
        if self.elements.keys() != other.elements.keys() or self.models.keys() != other.models.keys():
            return None
        values: dict[str, float] = {}
        for name, element in self.elements.items():
            before = other.elements[name]
            if element == before:
                continue
            first, _, tail = element.rest.partition(" ")
            if element.nodes != before.nodes or tail != before.rest.partition(" ")[2] or name[0] not in "rclv":
                return None
            values[name] = float(first)
        parameters: dict[tuple[str, str], float] = {}
        for model, text in self.models.items():
            if text == other.models[model]:
                continue
            here, there = dict(_PARAMETER.findall(text)), dict(_PARAMETER.findall(other.models[model]))
            if here.keys() != there.keys():
                return None
            changed = {key: spice_number(value) for key, value in here.items() if value != there[key]}
            parameters.update(((model, key), value) for key, value in changed.items())
        return values, parameters

    def nodes(self) -> list[str]:
        """Return every node but ground, sorted."""
        return sorted({node for element in self.elements.values() for node in element.nodes} - {"0"})

    def model_of(self, name: str) -> str:
        """Return the model name of a device element."""
        return self.elements[name].rest.split()[0]


def parameter(text: str, name: str) -> float | None:
    """Return a parameter's value in a model text, or None where it is not given."""
    for key, value in _PARAMETER.findall(text):
        if key == name:
            return spice_number(value)
    return None


def set_parameter(text: str, name: str, value: float) -> str:
    """Return the model text with a parameter set, added where it is not given."""
    found = re.search(rf"\b{re.escape(name)}\s*=\s*[^\s()=]+", text)
    if found:
        return f"{text[: found.start()]}{name}={value:.12g}{text[found.end() :]}"
    head, bracket, tail = text.partition("(")
    return f"{head}({name}={value:.12g} {tail}" if bracket else f"{text} {name}={value:.12g}"


_SUFFIX = {
    "t": 1e12,
    "g": 1e9,
    "meg": 1e6,
    "k": 1e3,
    "mil": 25.4e-6,
    "m": 1e-3,
    "u": 1e-6,
    "n": 1e-9,
    "p": 1e-12,
    "f": 1e-15,
}
_NUMBER = re.compile(r"^([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)(meg|mil|[tgkmunpf])?[a-z]*$")


def spice_number(text: str) -> float:
    """Read a number as ngspice does: ``47u``, ``1meg``, ``1.2e-3``.

    Raises
    ------
    ValueError
        If the text is no such number.
    """
    found = _NUMBER.match(text.lower())
    if not found:
        raise ValueError(f"'{text}' is no number")
    return float(found[1]) * _SUFFIX.get(found[2] or "", 1.0)


def own_models(flat: FlatCircuit) -> FlatCircuit:
    """Give every device its own copy of its model, so that devices of one type vary independently."""
    models: dict[str, str] = {}
    elements = dict(flat.elements)
    used: set[str] = set()
    for number, element in enumerate(flat.elements.values()):
        if element.name[0].lower() not in WITH_MODEL:
            continue
        model, _, tail = element.rest.partition(" ")
        used.add(model)
        copy = f"m{number}_{re.sub(r'[^a-z0-9_]', '_', model.lower())}"
        models[copy] = flat.models[model]
        elements[element.name] = replace(element, rest=f"{copy} {tail}".strip())
    kept = {name: text for name, text in flat.models.items() if name not in used}
    return replace(flat, elements=elements, models={**kept, **models})
