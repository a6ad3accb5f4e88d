"""Element lines and settings as schematic editors write them, in ngspice's own words."""

from __future__ import annotations

import re
from itertools import combinations

from lostgain.engine.directives import refusal
from lostgain.engine.plain import plain_sources
from lostgain.netlists.expressions import expression, value
from lostgain.netlists.model import DOUBTFUL, LIKELY, SURE, Card, Notes, wrong
from lostgain.netlists.tracks import three_nodes

_QUOTED = re.compile(r"\s\w+\s*=\s*\"[^\"]*\"|\s\"[^\"]*\"")
_RATING = re.compile(r"\s(irms|ipk|mfg|pn|type|vdc|part|pow|power|pwr|spice_model)\s*=\s*\S+", re.IGNORECASE)
_INSTANCE = re.compile(r"\s(rser|lser|rpar|cpar|rlshunt)\s*=\s*(\S+)", re.IGNORECASE)
_TOLERANCE = re.compile(r"\stol(?:erance)?\s*=\s*([\d.]+)(?:\s*%)?", re.IGNORECASE)
_POWER = re.compile(r"\s(?:pwr|pow|power)\s*=\s*([\d.]+)\s*w?(?=\s|$)", re.IGNORECASE)
_VOLTS = re.compile(r"\sv\s*=\s*([\d.]+)\s*v?(?=\s|$)", re.IGNORECASE)
_TC = re.compile(r"\btc\s*=\s*([^\s,]+)(?:\s*,\s*(\S+))?", re.IGNORECASE)
_HEAD = re.compile(r"(\S+)\s+(\S+)\s+(\S+)\s*(.*)$")
_NO_SOURCE = re.compile(r"\b(laplace|freq|chebyshev)\b", re.IGNORECASE)
_WORDED = re.compile(r"\b(value|vol|cur)\s*=?\s*(?=[{'])", re.IGNORECASE)


def plain_element(card: Card, notes: Notes) -> list[str]:
    """Return an element's line, or lines, in ngspice's words.

    Raises
    ------
    UserError
        For what ngspice cannot do.
    """
    text = re.sub(r"\s*=\s*", "=", card.text)
    letter = card.word[0]
    if letter in "rclvi":
        return _two_ends(text, letter, card, notes)
    text = _RATING.sub("", _QUOTED.sub("", text))
    if letter in "eg" and (found := _NO_SOURCE.search(text)):
        message = (
            f"{card.word.upper()} is given by its frequency response ({found[0].upper()}), which lostgain cannot run."
        )
        raise wrong(message, card.where, "Build the response from R and C.")
    if letter in "eg":
        text = _WORDED.sub(lambda found: f"{found[1]}=", text)
        text = expression(plain_sources([text])[0])
    elif letter in "fh":
        text = plain_sources([text])[0]
    elif letter == "b":
        text = expression(text)
    elif letter == "k":
        return _coupled(text)
    elif letter == "u":
        message = f"{card.word.upper()}: lines whose name starts with U are logic of another program, or lossy lines."
        raise wrong(message, card.where, "An op-amp's line starts with X: XU1.")
    elif letter == "x":
        text = re.sub(r"\btext\s*:.*$", "", text, flags=re.IGNORECASE)
        text = re.sub(r"\boptional\s*:", "params:", text, flags=re.IGNORECASE)
    return [text.strip()]


def _two_ends(text: str, letter: str, card: Card, notes: Notes) -> list[str]:
    """Return the lines of an R, C, L, V or I: ratings gone, inner resistance as an element of its own."""
    name = text.split()[0]
    if letter == "r" and (pot := three_nodes(text)):
        notes.say(name.upper(), "a resistor with three nodes was taken as a potentiometer.", LIKELY, card.where)
        return [pot]
    _ratings(text, letter, name, notes)
    if letter in "rcl":
        text = _VOLTS.sub("", _TOLERANCE.sub("", text))
    text = _RATING.sub("", _QUOTED.sub("", text))
    inner = {key.lower(): word for key, word in _INSTANCE.findall(text)}
    text = _INSTANCE.sub("", text)
    found = _TC.search(text)
    if found:
        text = _TC.sub(f"tc1={found[1]}" + (f" tc2={found[2]}" if found[2] else ""), text)
    if letter in "vi":
        text = re.sub(r"\b(dc|ac)=", r"\1 ", text, flags=re.IGNORECASE)
    head = _HEAD.match(text)
    if head is None:
        return [text]  # the engine says what is missing
    first, plus, minus, tail = head.groups()
    if letter in "rcl":
        tail = _value_of(tail, letter, name, card, notes)
        if letter == "r" and "." not in tail.split(" ")[0] and re.search(r"\b[vi]\(", tail, re.IGNORECASE):
            notes.say(
                name.upper(), "its value depends on a voltage: it is simulated, and no suspect.", LIKELY, card.where
            )
    if letter in "rcl":
        tail = re.sub(r"^[rcl]=(?=[\w.{'])", "", tail, flags=re.IGNORECASE)
    return _with_inner(first, plus, minus, expression(tail) if "{" in tail or "'" in tail else tail, inner)


def _ratings(text: str, letter: str, name: str, notes: Notes) -> None:
    """Note the tolerance and the rating that a part's line gives, as a unit file writes them."""
    told = []
    if found := _TOLERANCE.search(text):
        told.append(f"{found[1]}%")
    if letter == "c" and (found := _VOLTS.search(text)):
        told.append(f"{found[1]}V")
    if letter == "r" and (found := _POWER.search(text)):
        told.append(f"{found[1]}W")
    if told:
        notes.ratings[name.upper()] = " ".join(told)


def _with_inner(first: str, plus: str, minus: str, tail: str, inner: dict[str, str]) -> list[str]:
    """Return an element with its inner resistances as little subcircuits, which are simulated and never suspected."""
    lines = []
    node = plus
    for key, what in (("rser", "r"), ("lser", "l")):
        if key in inner and not re.fullmatch(r"0*\.?0*", inner[key]):
            after = f"{first}_{key}".lower()
            lines.append(f"X{first}_{key} {node} {after} inner_{what} params: q={inner[key]}")
            node = after
    lines.insert(0, f"{first} {node} {minus} {tail}")
    for key, what in (("rpar", "r"), ("rlshunt", "r"), ("cpar", "c")):
        if key in inner:
            lines.append(f"X{first}_{key} {plus} {minus} inner_{what} params: q={inner[key]}")
    return lines


#: Subcircuits for what a part has inside: they are no parts of the board.
INNER = {
    "inner_r": [".subckt inner_r a b params: q=1", "r1 a b {q}", ".ends"],
    "inner_l": [".subckt inner_l a b params: q=1", "l1 a b {q}", ".ends"],
    "ideal_opamp": [".subckt ideal_opamp inp inn out params: a=1e6", "e1 out 0 inp inn {a}", ".ends"],
    "inner_c": [".subckt inner_c a b params: q=1", "c1 a b {q}", ".ends"],
}


def _value_of(tail: str, letter: str, name: str, card: Card, notes: Notes) -> str:
    """Return what follows the nodes of an R, C or L with its value as ngspice reads it."""
    words = tail.split()
    if (
        len(words) > 1
        and re.fullmatch(r"[\d.]+", words[0])
        and re.fullmatch(r"(meg|[kmunp])?(ohms?|[fh])?", words[1], re.IGNORECASE)
    ):
        words[:2] = [words[0] + words[1]]  # "10 k" and "100 nF" are one value
    for place, word in enumerate(words[:2]):
        key, equals, number = word.rpartition("=")
        meant, reads = value(number, letter)
        if reads:
            words[place] = f"{key}{equals}{meant}"
            mega = letter == "r" and number.endswith("M")
            sure = DOUBTFUL if mega else LIKELY
            notes.say(name.upper(), f"{number} was taken as {meant}; ngspice reads {reads}.", sure, card.where)
    return " ".join(words)


def _coupled(text: str) -> list[str]:
    """Return a coupling of three coils or more as one of each pair, which is all that ngspice takes."""
    name, *words = text.split()
    if len(words) <= 3:
        return [text]
    coils, factor = words[:-1], words[-1]
    return [f"{name}_{number} {one} {other} {factor}" for number, (one, other) in enumerate(combinations(coils, 2), 1)]


def plain_setting(card: Card, notes: Notes) -> list[str]:
    """Return a parameter, function, option or initial condition as ngspice takes it; nothing for an option it lacks."""
    if card.word in (".temp", ".temperature"):
        words = card.text.split()
        return [f".options temp={words[1]}"] if len(words) > 1 else []
    if card.word in (".options", ".option", ".opt"):
        return _options(card, notes)
    if card.word in (".param", ".params", ".parameters"):
        return [".param " + expression(_braced(card.text.split(maxsplit=1)[-1]))]
    if card.word == ".func":
        return [expression(card.text)]
    return [card.text]


def _braced(text: str) -> str:
    """Put braces around what a parameter is set to, where another program lets them be left off."""
    text = re.sub(r"\s*=\s*", "=", text)
    pairs = list(re.finditer(r"([A-Za-z_]\w*)=(\{[^{}]*\}|'[^']*'|\"[^\"]*\"|.*?(?=,?\s+[A-Za-z_]\w*=|$))", text))
    shown = []
    for pair in pairs:
        said = pair[2].strip().strip("\"'").strip()
        said = said if said.startswith("{") else "{" + said + "}"
        shown.append(f"{pair[1]}={said}")
    return " ".join(shown) if shown else text


def _options(card: Card, notes: Notes) -> list[str]:
    kept = []
    for word in re.sub(r"\s*=\s*", "=", card.text).split()[1:]:
        if refusal(f".options {word}"):
            text = f"the option {word.partition('=')[0]} is another program's, and was left out."
            notes.say(".options", text, SURE, card.where)
        else:
            kept.append(word)
    return [f".options {' '.join(kept)}"] if kept else []


def no_part(card: Card) -> str:
    """Say of a line that stands for something on the board and nothing in a simulation; empty for all others."""
    words = card.text.split()
    looks = re.fullmatch(r"(conn|header|jack|testpoint|mountinghole|fiducial|screw|xlr|logo|jumper)\w*", words[-1],
                         re.IGNORECASE)  # fmt: skip
    return words[-1] if looks and len(words) >= 3 else ""
