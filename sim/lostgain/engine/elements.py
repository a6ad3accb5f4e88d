"""Checks of netlist text, line by line: names, nodes, values, and everything that could run or read something."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from lostgain.engine.directives import LEFT_OUT, refusal
from lostgain.engine.text import Line, clean
from lostgain.engine.values import misread, misread_in_expression, safe_name
from lostgain.problems import Problem, UserError, Where

# Everything a circuit is written with. Not among it: ` " ; $ \ @, and anything that is not ASCII.
_STRANGE = re.compile(r"[^A-Za-z0-9_.+\-#:/ (){}=,*'<>?!&|^~%\[\]]")
_EXPRESSION = re.compile(r"\{[^{}]*\}|'[^']*'")
_ASSIGNED = re.compile(r"([A-Za-z_]\w*)\s*=\s*([^\s=(){},']+)")
_FILE = re.compile(r"(?<![A-Za-z0-9_])\w*file\w*\s*=", re.IGNORECASE)
_NODE_LIKE_VALUE = re.compile(r"\d+(\.\d*)?(meg|[tgkmunpf])\w*|\d*\.\d+\w*", re.IGNORECASE | re.ASCII)

#: How many nodes an element has, and how many further words it needs, by its first letter.
_ELEMENTS = {
    "r": (2, 1), "c": (2, 1), "l": (2, 1), "v": (2, 0), "i": (2, 0), "d": (2, 1), "b": (2, 1), "q": (3, 1),
    "j": (3, 1), "z": (3, 1), "m": (3, 1), "e": (2, 1), "g": (2, 1), "f": (2, 2), "h": (2, 2), "s": (4, 1),
    "w": (2, 2), "t": (4, 1), "o": (4, 1), "u": (3, 1), "k": (0, 3), "x": (0, 1),
}  # fmt: skip

#: Node names that ngspice takes for something else when a result is read.
_TAKEN = {"all", "allv", "alli", "ally"}


def checked(lines: Sequence[str], where: Path | None, title: bool, includes: bool = False) -> list[Line]:
    """Clean and check netlist text, as `guard.refuse` does, and keep line numbers.

    Parameters
    ----------
    lines, where, title
        As there.
    includes : bool
        True leaves ``.include`` and ``.lib`` lines in, for the caller to follow.

    Returns
    -------
    list of Line

    Raises
    ------
    UserError
        With every mistake.
    """
    cleaned, problems = clean(lines, where, title)
    kept: list[Line] = []
    commands = False
    last = max((line.number for line in cleaned if line.text.lower().startswith(".endc")), default=0)
    for line in cleaned:
        word = line.text.split()[0].lower()
        if commands:  # said of the whole block at its first line
            commands = word != ".endc"
            continue
        commands = word == ".control" and line.number < last
        if includes and word in (".include", ".inc", ".lib", ".endl"):
            kept.append(line)
            continue
        trouble = _line(line.text, word)
        if trouble:
            problems.append(Problem(trouble, Where(where, line.number)))
        elif word not in LEFT_OUT:
            kept.append(line)
    if problems:
        raise UserError(sorted(problems, key=lambda problem: problem.where.line or 0))
    return kept


def _line(text: str, word: str) -> str:
    """Say what is wrong with one line; empty if nothing is."""
    if word in LEFT_OUT:
        return ""
    if word.startswith(".") and (trouble := refusal(text)):
        return trouble
    if strange := _STRANGE.search(text):
        return _about(strange[0], text)
    if _FILE.search(text):
        return "A source that reads a file is not allowed: a unit's netlist holds its own values."
    if word.startswith("."):
        return _assignments(text, "")
    return _element(text, word)


def _about(character: str, text: str) -> str:
    """Explain a character that no netlist of a unit may hold."""
    if character in "µμ":
        return "ngspice does not read µ: write u, as in 4.7u."
    if character in "ΩΩ":
        return "ngspice does not read Ω: leave it off, as in 10k."
    if character == "`":
        return "A backtick makes ngspice run a command. Only letters, digits and _ . + - # : / may be in a name."
    return f"{character!r} cannot be in a netlist. Only letters, digits and _ . + - # : / may be in a name."


def _element(text: str, word: str) -> str:
    """Check the name, the nodes and the values of one element."""
    letter = word[0]
    if letter == "a":
        return f"{_shout(word)} is a code-model device (its name starts with A), which can read and write files."
    if letter not in _ELEMENTS:
        return f"{_shout(word)} is no element that a unit's netlist may hold: no part starts with {letter.upper()}."
    flat = _EXPRESSION.sub(" {} ", text)
    words = [each for each in re.split(r"[\s,()]+", flat) if each]
    nodes, more = _ELEMENTS[letter]
    if len(words) < 1 + nodes + more:
        meant = " Is a node or the value missing?" if more else " Is a node missing?"
        return f"{_shout(words[0])} needs {nodes + more or 1} words after its name and has {len(words) - 1}.{meant}"
    for name in words[: 1 + nodes]:
        try:
            safe_name(name)
        except ValueError as trouble:
            return f"{trouble}."
    for name in words[1 : 1 + nodes]:
        if name.lower() in _TAKEN:
            return f"A node cannot be called {name}: ngspice takes the word for all nodes together. Rename it."
        if letter != "x" and _NODE_LIKE_VALUE.fullmatch(name):
            return f"{name} stands where {_shout(words[0])} has a node, and reads like a value. Is a node missing?"
    return _values(text, flat, letter)


def _values(text: str, flat: str, letter: str) -> str:
    """Check the places of an element line in which values stand."""
    if trouble := _assignments(text, letter):
        return trouble
    words = flat.replace("(", " ").replace(")", " ").split()
    if letter in "rcl":
        places = words[3:4]
        if len(words) > 4 and re.fullmatch(r"(meg|[tgkmunp])\w{0,3}", words[4], re.IGNORECASE):
            return f"{words[3]} {words[4]}: a value is one word for ngspice. Write {words[3]}{words[4]}."
    elif letter in "vi":
        places = [each for word in words[3:] for each in word.split(",")]
    elif letter in "efghk":
        places = words[-1:]
    else:
        places = []
    for place in places:
        if "{" not in place and "=" not in place and (found := misread(place, letter)):
            return _sentence(place, *found)
    return ""


def _assignments(text: str, letter: str) -> str:
    """Check every ``name=value`` and every expression of a line."""
    for name, value in _ASSIGNED.findall(text):
        if found := misread(value, letter if name.lower() == letter else ""):
            return _sentence(value, *found)
    for expression in _EXPRESSION.findall(text):
        if inside := misread_in_expression(expression):
            return _sentence(*inside)
    if found_alone := misread_in_expression(text.partition("=")[2]):
        return _sentence(*found_alone)
    return ""


def _sentence(value: str, reads: str, meant: str) -> str:
    return f"{value}: ngspice would read {reads}. Write {meant} if that is meant."


def _shout(name: str) -> str:
    return name.upper()
