"""Reading ngspice's expanded listing: lines to elements, nodes and plain values."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from lostgain.circuit.flat import WITH_MODEL, Element, FlatCircuit, spice_number
from lostgain.engine import CircuitRefused

#: Nodes of each element letter; of e and g, two where no controlling nodes follow.
NODES = {"r": 2, "c": 2, "l": 2, "v": 2, "i": 2, "b": 2, "e": 4, "g": 4, "f": 2, "h": 2, "s": 4, "w": 2, "t": 4, "k": 0}

# ngspice lists a power MOSFET's model under a type that ends its process when it is read back.
_POWER_MOS = re.compile(r"^vdmos([np])\s*\(")
# ngspice's expanded listing sets a blank before a function's bracket, which its own parser refuses.
_CALL = re.compile(r"\b([a-z_]\w*)\s+\(")


def parse_listing(listing: Iterable[str]) -> FlatCircuit:
    """Read ngspice's expanded listing.

    Parameters
    ----------
    listing : iterable of str
        Lines as `Session.listing` returns them.

    Raises
    ------
    CircuitRefused
        If a line cannot be told apart into nodes and value, or two elements have one name.
    """
    models: dict[str, str] = {}
    other: list[str] = []
    rest: list[str] = []
    for line in listing:
        lower = line.lower()
        if lower.startswith(".model"):
            _, name, text = line.split(None, 2)
            models[name] = _POWER_MOS.sub(r"vdmos(\1chan ", text)
        elif lower.startswith(".end"):
            continue
        elif lower.startswith("."):
            other.append(line)
        elif not lower.startswith("*"):
            rest.append(line)
    elements: dict[str, Element] = {}
    for line in rest:
        element = _element(line, models)
        if element.name in elements:
            raise CircuitRefused(f"two elements are called {element.name.upper()}", ())
        elements[element.name] = element
    return FlatCircuit(elements, models, tuple(other))


def _element(line: str, models: Mapping[str, str]) -> Element:
    name, *words = line.split()
    letter = name[0].lower()
    count = _count(letter, words, models)
    if count is None or len(words) < count:
        raise CircuitRefused(f"'{line}' cannot be told apart into nodes and value", ())
    nodes = tuple("0" if word.lower() == "gnd" else word for word in words[:count])
    tail = words[count:]
    rest = " ".join(tail)
    if letter in "beg":
        rest = _CALL.sub(r"\1(", rest)
    elif letter in "rcl":
        rest = " ".join(_value_first(letter, tail, models))
    elif letter in "vi" and tail:
        # A source's DC value comes first and without the word ``dc``.
        rest = " ".join(_plain(tail[1:] if tail[0].lower() == "dc" and len(tail) > 1 else tail))
    return Element(name, nodes, rest)


def _count(letter: str, words: Sequence[str], models: Mapping[str, str]) -> int | None:
    """Return how many nodes an element has: for one with a model, those before the model's name."""
    if letter in WITH_MODEL:
        # A node may be called what a model is called, so that the search begins behind the nodes there must be.
        least = WITH_MODEL[letter]
        return next((index for index in range(least, len(words)) if words[index] in models), None)
    if letter in "eg" and (len(words) < 5 or any("=" in word for word in words[2:4])):
        return 2
    return NODES.get(letter)


def _value_first(letter: str, words: Sequence[str], models: Mapping[str, str]) -> list[str]:
    """Put an R's, C's or L's value first and plain: ``r=4.7k`` and a model before it are other ways."""
    words = list(words)
    if len(words) > 1 and words[0] in models and _is_number(words[1]):
        words[:2] = [words[1], words[0]]
    for index, word in enumerate(words):
        key, equals, value = word.partition("=")
        if equals and key.lower() == letter and _is_number(value):
            words = [value, *words[:index], *words[index + 1 :]]
            break
    return _plain(words)


def _is_number(word: str) -> bool:
    try:
        spice_number(word)
    except ValueError:
        return False
    return True


def _plain(words: Sequence[str]) -> list[str]:
    """Turn a leading ``47u`` into a plain number, so that it can be multiplied; leave what is not a number alone."""
    if words and _is_number(words[0]):
        return [f"{spice_number(words[0]):.15g}", *words[1:]]
    return list(words)
