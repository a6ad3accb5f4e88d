"""The flat circuit: what ngspice itself prints of a netlist, as elements that can be found and changed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from lostgain.engine import CircuitRefused

#: Nodes of each element letter. Devices with a model (d, q, j, m, z) are counted up to their model's name instead.
NODES = {"r": 2, "c": 2, "l": 2, "v": 2, "i": 2, "b": 2, "e": 4, "g": 4, "f": 2, "h": 2, "s": 4, "w": 2, "t": 4, "k": 0}
WITH_MODEL = "dqjmz"

# ngspice's expanded listing sets a blank before a function's bracket, which its own parser refuses.
_CALL = re.compile(r"\b([a-z_]\w*)\s+\(")
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

    def with_value(self, value: float) -> Element:
        """Return the element with another value, all else kept."""
        first, _, tail = self.rest.partition(" ")
        del first
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

    def starting_at(self, volts: Mapping[str, float]) -> FlatCircuit:
        """Return a copy whose operating point is looked for near given voltages: ``{node: V}``.

        They are where the search starts, not a condition; close to the solution it takes a tenth of the iterations.
        """
        kept = [line for line in self.other if not line.startswith(".nodeset")]
        hints = [f".nodeset v({node})={value:.6g}" for node, value in volts.items()]
        return replace(self, other=(*kept, *hints))

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
    head, _, tail = text.partition("(")
    return f"{head}({name}={value:.12g} {tail if tail else ')'}"


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


def parse_listing(listing: Iterable[str]) -> FlatCircuit:
    """Read ngspice's expanded listing.

    Parameters
    ----------
    listing : iterable of str
        Lines as `Session.listing` returns them.

    Raises
    ------
    CircuitRefused
        If a line cannot be told apart into nodes and value.
    """
    models: dict[str, str] = {}
    other: list[str] = []
    rest: list[str] = []
    for line in listing:
        lower = line.lower()
        if lower.startswith(".model"):
            _, name, text = line.split(None, 2)
            models[name] = text
        elif lower.startswith(".end"):
            continue
        elif lower.startswith("."):
            other.append(line)
        elif not lower.startswith("*"):
            rest.append(line)
    elements = {element.name: element for element in (_element(line, models) for line in rest)}
    return FlatCircuit(elements, models, tuple(other))


def _element(line: str, models: Mapping[str, str]) -> Element:
    name, *words = line.split()
    letter = name[0].lower()
    if letter in WITH_MODEL:
        count = next((index for index, word in enumerate(words) if word in models), None)
    else:
        count = NODES.get(letter)
        if letter in "eg" and len(words) > 2 and not _looks_like_node(words[2], line):
            count = 2
    if count is None:
        raise CircuitRefused(f"'{line}' cannot be told apart into nodes and value", ())
    rest = " ".join(words[count:])
    if letter in "beg":
        rest = _CALL.sub(r"\1(", rest)
    elif letter in "rcl" and words[count:]:
        rest = _plain_value(words[count:])
    elif letter in "vi" and words[count:]:
        rest = _plain_source(words[count:])
    return Element(name, tuple(words[:count]), rest)


def _looks_like_node(word: str, line: str) -> bool:
    return "=" not in word and "=" not in line.split(word, 1)[1][:2]


def _plain_value(words: list[str]) -> str:
    """Turn ``47u`` into a plain number, so that it can be multiplied; leave what is not a number alone."""
    try:
        return " ".join((f"{spice_number(words[0]):.15g}", *words[1:]))
    except ValueError:
        return " ".join(words)


def _plain_source(words: list[str]) -> str:
    """Put a source's DC value first and without the word ``dc``."""
    if words[0].lower() == "dc" and len(words) > 1:
        words = words[1:]
    return _plain_value(words)


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
