"""Element lines of a SPICE netlist of the user's: enough to know its parts. ngspice itself reads the rest.

Only what a designator, a kind and a value need is looked at; whether the text may be run at all is the engine's to say.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from lostgain import shipped
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit import library
from lostgain.unit.spicevalue import spice_value

_TOKEN = re.compile(r"\{[^}]*\}|'[^']*'|\"[^\"]*\"|[^\s\"'{]+")
_NODES = {"R": 2, "C": 2, "L": 2, "D": 2, "Q": 3, "J": 3}


@dataclass(frozen=True)
class Element:
    """One element line.

    Parameters
    ----------
    name : str
        As written.
    nodes : tuple of str
    value : float or None
        [ohm, F, H]; None where it is an expression or the element has none.
    model : str
        Model of a D, Q or J; subcircuit of an X; lower case.
    where : Where
    """

    name: str
    nodes: tuple[str, ...]
    value: float | None
    model: str
    where: Where


@dataclass
class Netlist:
    """What was found in a netlist.

    Parameters
    ----------
    elements : list of Element
        Those of the subcircuit asked for, or those outside of all subcircuits.
    models : dict
        Model name, lower case, to its type, lower case: ``npn``.
    ports : dict
        Subcircuit name, lower case, to its nodes.
    problems : list of Problem
    """

    elements: list[Element] = field(default_factory=list)
    models: dict[str, str] = field(default_factory=dict)
    ports: dict[str, tuple[str, ...]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def read_netlist(file: Path, folder: Path, subckt: str = "") -> Netlist:
    """Return the elements of a netlist.

    Parameters
    ----------
    file : Path
    folder : Path
        The unit's folder; files it includes must lie there.
    subckt : str
        The subcircuit whose elements are wanted; empty for the elements outside of all subcircuits.

    Returns
    -------
    Netlist
        With the mistakes found in it, those that the engine refuses it for among them.
    """
    found = Netlist()
    lines = _lines(file, folder, found, title=not subckt)
    open_subckts: list[str] = []
    elements: list[tuple[list[str], Where]] = []
    for words, where in lines:
        head = words[0].lower()
        if head == ".subckt" and len(words) > 1:
            open_subckts.append(words[1].lower())
            found.ports.setdefault(words[1].lower(), tuple(_plain(words[2:])))
        elif head.startswith(".ends"):
            del open_subckts[-1:]
        elif head == ".model" and len(words) > 2:
            found.models.setdefault(words[1].lower(), re.split(r"\W", words[2].lower())[0])
        elif head[0].isalpha() and open_subckts == ([subckt.lower()] if subckt else []):
            elements.append((words, where))
    for words, where in elements:
        element = _element(words, where, found)
        if element:
            found.elements.append(element)
    return found


def _lines(file: Path, folder: Path, found: Netlist, title: bool) -> list[tuple[list[str], Where]]:
    """Return the words of each line, checked by the engine: comments gone, continuations joined, includes put in."""
    from lostgain.engine.includes import (
        resolve_lines,  # the engine loads numpy, which units without netlists do without
    )

    try:
        lines = resolve_lines(file, folder, shipped.folder(), title=title)
    except UserError as error:
        found.problems += error.problems
        return []
    words = [(_TOKEN.findall(re.sub(r"\s*=\s*", "=", text)), where) for text, where in lines]
    return [(each, where) for each, where in words if each and each[0].lower() != ".end"]


def _plain(words: list[str]) -> list[str]:
    """Return the words before the parameters."""
    plain = []
    for word in words:
        if "=" in word or word.lower() == "params:":
            break
        plain.append(word)
    return plain


def _element(words: list[str], where: Where, found: Netlist) -> Element | None:
    """Return an element that may be a part; None for sources and others."""
    name, letter = words[0], words[0][0].upper()
    plain = _plain(words[1:])
    if letter == "X":
        if len(plain) < 2:
            found.problems.append(Problem(f"{name} needs its nodes and the name of a subcircuit.", where))
            return None
        return Element(name, tuple(plain[:-1]), None, plain[-1].lower(), where)
    if letter not in _NODES:
        return None
    count = _NODES[letter]
    if len(plain) < count or (letter in "QDJ" and len(plain) < count + 1):
        what = "nodes and its model" if letter in "QDJ" else "nodes and its value"
        found.problems.append(Problem(f"{name} needs {count} {what}.", where))
        return None
    nodes, tail = tuple(plain[:count]), plain[count:]
    if letter in "QDJ":
        return Element(name, nodes, None, _model(tail, found), where)
    return Element(name, nodes, _value(name, letter, tail, words, where, found), "", where)


def _model(tail: list[str], found: Netlist) -> str:
    """Return the model of an element: the first word that is one, since a substrate node may come before it."""
    known = found.models.keys() | set(library.device_names())
    return next((word.lower() for word in tail[:3] if word.lower() in known), tail[0].lower())


def _value(name: str, letter: str, tail: list[str], words: list[str], where: Where, found: Netlist) -> float | None:
    """Return the value of an R, C or L."""
    text = tail[0] if tail else ""
    for word in words:
        if word.lower().startswith(f"{letter.lower()}="):
            text = word[2:]
    if not text:
        found.problems.append(Problem(f"{name} has no value.", where))
        return None
    if text[0] in "{'\"":
        return None
    if len(tail) > 1 and tail[0].lower() in found.models:
        text = tail[1]
    try:
        return spice_value(text, letter)
    except ValueError as error:
        found.problems.append(Problem(f"{name}: {error}", where))
        return None


def kind_of(element: Element, found: Netlist) -> str:
    """Return the kind or family of part of an element that is no X; empty where there is no such kind of part.

    Raises
    ------
    ValueError
        With a message and the nearest spelling, if its model is nowhere to be found.
    """
    letter = element.name[0].upper()
    if letter in "RCL":
        return {"R": "resistor", "C": "capacitor", "L": "inductor"}[letter]
    if element.model in found.models:
        sort = found.models[element.model]
    elif element.model in library.device_names():
        sort = library.device(element.model).kind
    else:
        guess = nearest(element.model, found.models.keys() | set(library.device_names()))
        raise ValueError(f"{element.name} uses the model “{element.model}”, which is missing. {guess}".strip())
    return {"d": "diode", "npn": "npn", "pnp": "pnp", "njf": "njf", "diode": "diode"}.get(sort, "")
