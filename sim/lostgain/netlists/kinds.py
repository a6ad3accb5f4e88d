"""Which kind of part each element is: what its letter does not say is guessed, and said to be."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lostgain.circuit.flat import FlatCircuit
from lostgain.netlists.deck import Deck, Subckt
from lostgain.netlists.devices import regulator, valve
from lostgain.netlists.model import DOUBTFUL, GROUND, LIKELY, SURE, Notes, Piece
from lostgain.netlists.opamps import looks_like_one, pins_of
from lostgain.quantities import show
from lostgain.unit.kinds import capacitor_kind, kinds
from lostgain.unit.library import device, device_names

_BY_TYPE = {"d": "diode", "npn": "npn", "pnp": "pnp", "njf": "njf"}
_WORDS = {
    "electrolytic": re.compile(r"elco|elec|alu|cpol|polar|^ce\d|^ec\d", re.IGNORECASE),
    "film": re.compile(r"film|mkt|mkp|mks|poly|foil", re.IGNORECASE),
    "ceramic": re.compile(r"cer|mlcc|x7r|np0|c0g|cog|y5v", re.IGNORECASE),
    "tantalum": re.compile(r"tant", re.IGNORECASE),
}
_POT = re.compile(r"pot(entiometer|i)?\b|pot_|trim|^rv\d|^vr\d|_pot", re.IGNORECASE)
#: Smallest value that is an electrolytic without doubt, and smallest that may be one [F]; common practice, no source.
_SURELY, _PERHAPS = 10e-6, 0.999e-6
#: DC across an electrolytic that tells which end is plus [V].
_POLARITY = 0.5


def name_kinds(
    pieces: list[Piece], gone: list[Piece], deck: Deck, flat: FlatCircuit, rails: Mapping[str, float], notes: Notes
) -> None:
    """Find the kind of each element, in place; what is no part, and what the bench takes over, keeps none."""
    held = {*rails, GROUND}
    for piece in pieces:
        if piece in gone:
            continue
        if piece.letter in "rl":
            piece.kind = "" if piece.value is None else {"r": "resistor", "l": "inductor"}[piece.letter]
        elif piece.letter == "c":
            piece.kind = "" if piece.value is None else _capacitor(piece, held, notes)
        elif piece.letter in "dqjmz":
            piece.kind = _semiconductor(piece, deck, flat)
        elif piece.letter == "x":
            _subcircuit(piece, deck, flat, rails, pieces, notes)
        if piece.kind and not piece.pins:
            piece.pins = kinds()[piece.kind].pins
        if not piece.kind:
            _no_part(piece, notes)


def _capacitor(piece: Piece, held: set[str], notes: Notes) -> str:
    """Return the kind of a capacitor: by a word on its line, else by its value and place."""
    said = f"{piece.name} {piece.tail}"
    key = f"part {piece.board}"
    for kind, words in _WORDS.items():
        if any(words.search(word) for word in said.split()):
            notes.say(piece.board, "by a word on its line.", LIKELY, piece.where, key, f"{kind}, by a word")
            return kind
    value = piece.value or 0.0
    kind = capacitor_kind(value)
    shown = show(value, "farad")
    if kind == "film" and set(piece.nodes) <= held:
        notes.say(piece.board, f"{shown} across the supply.", LIKELY, piece.where, key, "ceramic, across the supply")
        return "ceramic"
    if kind != "electrolytic" or value >= _SURELY:
        notes.say(piece.board, f"by its value of {shown}.", LIKELY, piece.where, key, f"{kind}, by value")
    elif value >= _PERHAPS:
        text = f"by its value of {shown}; it may be film."
        notes.say(piece.board, text, DOUBTFUL, piece.where, key, "electrolytic, and may be film")
    return kind


def plus_first(pieces: list[Piece], dc: Mapping[str, float], notes: Notes) -> None:
    """Turn electrolytics whose second node is the more positive one: pin 1 of a part is its plus end, in place."""
    for piece in pieces:
        if piece.kind not in ("electrolytic", "tantalum"):
            continue
        first, second = (0.0 if node == GROUND else dc.get(node, 0.0) for node in piece.nodes[:2])
        if first - second < -_POLARITY:
            piece.nodes.reverse()
            text = f"its nodes were exchanged: plus stands first, and there are {show(second - first, 'V')} across it."
            notes.say(piece.board, text, SURE, piece.where, f"part {piece.board}")


def check_supply(pieces: list[Piece], dc: Mapping[str, float], notes: Notes) -> None:
    """Doubt op-amps whose positive supply pin is not above their negative one."""
    for piece in pieces:
        if piece.kind == "opamp" and "vp" in piece.pins:
            high, low = (0.0 if node == GROUND else dc.get(node, 0.0) for node in (piece.pin("vp"), piece.pin("vn")))
            if high - low < 1.0:
                text = f"its supply pins stand at {show(high, 'V')} and {show(low, 'V')}: wired wrongly, or no op-amp."
                notes.say(piece.board, text, DOUBTFUL, piece.where, f"part {piece.board}")


def _semiconductor(piece: Piece, deck: Deck, flat: FlatCircuit) -> str:
    """Return the kind of a diode or transistor, by the type of its model."""
    for word in piece.tail.lower().split()[:3]:
        if word in deck.models:
            element = flat.elements.get(piece.name.lower())
            text = flat.models.get(element.rest.split()[0], "") if element is not None and element.rest else ""
            sort = re.split(r"\W", text.lower())[0] if text else ""
            return _known(_BY_TYPE.get(sort, sort))
        if word in device_names():
            return device(word).kind
    return ""


def _known(kind: str) -> str:
    return kind if kind in kinds() else ""


def _subcircuit(
    piece: Piece, deck: Deck, flat: FlatCircuit, rails: Mapping[str, float], pieces: list[Piece], notes: Notes
) -> None:
    name = piece.tail.split()[0]
    key = f"part {piece.board}"
    if name in device_names() and name not in deck.subckts:
        piece.kind, piece.pins = device(name).kind, device(name).pins
        if piece.kind == "potentiometer":
            _potentiometer(piece, flat, ("top", "wiper", "bottom"), notes, SURE)
        return
    subckt = deck.subckts.get(name)
    if name == "ideal_opamp":
        piece.kind = "opamp"
        return
    if subckt is None:
        return
    if lead := _one_semiconductor(subckt, deck):
        piece.kind, piece.pins = lead
        notes.say(piece.board, f"{piece.kind}, by what is inside .subckt {name}.", LIKELY, piece.where, key)
    elif named := valve(subckt) or regulator(subckt):
        piece.kind, piece.pins = named
        text = f"its nodes are {' '.join(piece.pins)}, by their names in .subckt {name}."
        notes.say(piece.board, text, LIKELY, piece.where, key, piece.kind)
    elif pins := _track(subckt):
        sure = SURE if _POT.search(f"{name} {piece.board}") else DOUBTFUL
        _potentiometer(piece, flat, pins, notes, sure)
    elif looks_like_one(subckt):
        found = pins_of(piece, subckt, rails, pieces)
        if found is None:
            notes.say(piece.board, f".subckt {name} looks like an op-amp, and its pins could not be told.", DOUBTFUL,
                      piece.where, key)  # fmt: skip
            return
        piece.pins, sure, why = found
        piece.kind = "opamp"
        shown = " ".join(pin for pin in piece.pins)
        notes.say(piece.board, f"op-amp; its nodes are {shown}, {why}.", sure, piece.where, key)


def _one_semiconductor(subckt: Subckt, deck: Deck) -> tuple[str, tuple[str, ...]] | None:
    """Return kind and pins of a subcircuit that is one semiconductor with its leads."""
    cards = [card for card in subckt.cards if not card.word.startswith(".")]
    actives = [card for card in cards if card.word[0] in "qjd"]
    if len(actives) != 1 or len(subckt.ports) not in (2, 3) or any(card.word[0] not in "qjdrlc" for card in cards):
        return None
    words = actives[0].text.lower().split()
    count = {"q": 3, "j": 3, "d": 2}[words[0][0]]
    own = {card.text.split()[1].lower(): card for card in subckt.cards if card.word == ".model"}
    model = next((word for word in words[1 + count :] if word in deck.models or word in own), "")
    if not model:
        return None
    text = (own.get(model) or deck.models[model]).text.split(maxsplit=2)[2].lower()
    kind = _known(_BY_TYPE.get(re.split(r"\W", text)[0], ""))
    if not kind or len(kinds()[kind].pins) != len(subckt.ports):
        return None
    leads = dict(zip(words[1 : 1 + count], kinds()[kind].pins, strict=True))
    for _ in range(4):  # a lead may be a resistor and a coil in a row
        for card in cards:
            if card.word[0] in "rl":
                one, other = card.text.lower().split()[1:3]
                for near, far in ((one, other), (other, one)):
                    if near in leads and far not in leads:
                        leads[far] = leads[near]
    pins = tuple(leads.get(port, "") for port in subckt.ports)
    return (kind, pins) if set(pins) == set(kinds()[kind].pins) else None


def _track(subckt: Subckt) -> tuple[str, ...] | None:
    """Return the pins of a subcircuit that is two resistors in a row with their middle led out: a potentiometer."""
    ends = [set(card.text.lower().split()[1:3]) for card in subckt.cards if card.word[0] == "r"]
    others = [card for card in subckt.cards if card.word[0] != "r" and card.word not in (".param", ".func")]
    if len(subckt.ports) != 3 or others or len(ends) not in (2, 3):
        return None
    named = [port for port in subckt.ports if re.fullmatch(r"w|wip\w*|slid\w*|mid|tap|s|2", port)]
    star = [subckt.ports[1]] if len(ends) == 3 else subckt.ports  # three resistors from one point tell nothing
    for wiper in named[:1] or star:
        rest = [port for port in subckt.ports if port != wiper]
        taps = {wiper} | {node for pair in ends if wiper in pair for node in pair if len(ends) == 3}
        if all(any({port, tap} in ends for tap in taps) for port in rest):
            top, bottom = rest
            return tuple({wiper: "wiper", top: "top", bottom: "bottom"}[port] for port in subckt.ports)
    return None


def _potentiometer(piece: Piece, flat: FlatCircuit, pins: tuple[str, ...], notes: Notes, sure: str) -> None:
    """Make an element lostgain's own potentiometer, at the value and position that ngspice evaluated."""
    by_name = dict(zip(pins, piece.nodes, strict=True))
    inner = {name: each for name, each in flat.elements.items() if name.startswith(f"r.{piece.name.lower()}.")}
    halves = sorted(inner.values(), key=lambda each: by_name["bottom"] in each.nodes)
    halves = [each for each in halves if by_name["top"] in each.nodes or by_name["bottom"] in each.nodes]
    if len(halves) != 2 or not all(each.has_value for each in halves):
        return
    upper, lower = halves[0].value, halves[1].value
    whole = upper + lower
    piece.kind, piece.pins, piece.value = "potentiometer", ("top", "wiper", "bottom"), whole
    piece.nodes = [by_name[pin] for pin in piece.pins]
    piece.tail = f"potentiometer R={whole:.9g} K={lower / whole:.9g}"
    text = f"potentiometer of {show(whole, 'ohm')}, its wiper at {lower / whole:.0%} of the track, taken as linear."
    notes.say(piece.board, text, sure, piece.where, f"part {piece.board}")


def _no_part(piece: Piece, notes: Notes) -> None:
    """Say of an element that it will never be suspected, and why."""
    if piece.tail.startswith("inner_"):
        return
    said = {
        "v": "a source inside the circuit", "i": "a source inside the circuit", "e": "a controlled source",
        "g": "a controlled source", "f": "a controlled source", "h": "a controlled source", "b": "a controlled source",
        "m": "a transistor of a kind that lostgain has no failures for", "k": "a coupling of coils",
        "j": "a transistor of a kind that lostgain has no failures for", "s": "a switch", "w": "a switch",
        "t": "a line", "x": f"a subcircuit ({piece.tail.split()[0] if piece.tail else ''}) of no kind that is known",
    }.get(piece.letter, "no kind of part that is known")  # fmt: skip
    if not any(guess.about == piece.board for guess in notes.guesses):
        notes.say(piece.board, f"{said}: it is simulated, and never suspected.", LIKELY, piece.where, "head", said)
