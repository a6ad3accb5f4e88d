"""The text of the two files: ``unit.toml`` with every doubt at its line, and the cleaned netlist."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Mapping

from lostgain.netlists.model import DOUBTFUL, LIKELY, SURE, Guess, Piece, Segment, Spot
from lostgain.quantities import show
from lostgain.unit.kinds import capacitor_kind

_WIDE = 110


def text_of(
    title: str, netlist: str, setup: Mapping[str, str], rails: Mapping[str, float], ends: tuple[str, str],
    stages: Iterable[Segment], parts: Iterable[Piece], points: Iterable[Spot], guesses: Iterable[Guess],
    frequencies: Iterable[str], supply: Iterable[str] = (),
) -> str:  # fmt: skip
    """Return a ``unit.toml``."""
    told = _Told(list(guesses))
    stages = list(stages)
    lines = [
        f"# A first unit file, made by `lostgain import` from the netlist beside it ({netlist}).",
        "# Lines marked likely or doubtful were guessed: compare them with the schematic.",
        *told.head(),
        "[unit]",
        f"title = {_quoted(title)}",
        f"netlist = {_quoted(netlist)}",
        f"input = {_quoted(ends[0])}",
        *told.put("unit output", f"output = {_quoted(ends[1])}"),
        *told.put("unit mains", "mains = true"),
        *told.put("unit output_stage", "output_stage = true", needed=True),
        "",
    ]
    if rails:
        lines.append("[rails]")
        for name, volts in rails.items():
            row = f'{name} = {{ volts = "{volts:+.6g} V", resistance = "0R" }}'
            lines += told.put(f"rail {name}", row)
        lines.append("")
    lines += supply
    lines.append("[setup]")
    for key, value in setup.items():
        lines += told.put(f"setup {key}", f"{key} = {_quoted(value)}")
    lines += told.put("setup frequencies", f"frequencies = [{', '.join(map(_quoted, frequencies))}]")
    lines.append("")
    if len(stages) > 1:
        for stage in stages:
            lines += _stage(stage, told)
    described = [each for piece in parts if (each := _part(piece)) is not None]
    if described:
        lines.append("[parts]")
        for piece, said in described:
            lines += told.put(f"part {piece.board}", said)
        lines.append("")
    lines += told.rest()
    for spot in points:
        lines += ["[[point]]", f"name = {_quoted(spot.name)}", f"node = {_quoted(spot.node)}"]
        if len(stages) > 1:
            lines.append(f"stage = {_quoted(spot.stage)}")
    return "\n".join(lines) + "\n"


class _Told:
    """Guesses by the line they belong to, each written once."""

    def __init__(self, guesses: list[Guess]) -> None:
        self.guesses = [each for each in guesses if each.sure != SURE or each.key.startswith("unit output_stage")]
        self.written: set[int] = set()

    def head(self) -> list[str]:
        """Return what belongs to no line."""
        return self._comments([each for each in self.guesses if each.key in ("", "head")])

    def rest(self) -> list[str]:
        """Return what belongs to a part whose line needs nothing else."""
        return self._comments([each for each in self.guesses if id(each) not in self.written])

    def put(self, key: str, row: str, needed: bool = False) -> list[str]:
        """Return a row with what was guessed of it: behind it if there is room, else above."""
        mine = [each for each in self.guesses if each.key == key]
        self.written |= {id(each) for each in mine}
        if needed and not mine:
            return []
        if len(mine) == 1 and len(row) + len(mine[0].text) + len(mine[0].sure) + 7 <= _WIDE:
            return [f"{row}   # {mine[0].sure}: {_clean(mine[0].text)}"]
        return [*self._comments(mine, named=False), row]

    def _comments(self, guesses: list[Guess], named: bool = True) -> list[str]:
        lines: list[str] = []
        for each in guesses:
            self.written.add(id(each))
            about = f"{each.about}: " if named else ""
            about += f"{each.group.partition(',')[0]}, " if named and each.key.startswith("part") and each.group else ""
            text = f"# {each.sure}: {_clean(about + each.text)}"
            lines += textwrap.wrap(text, _WIDE, subsequent_indent="#   ", break_on_hyphens=False)
        return lines


def _stage(stage: Segment, told: _Told) -> list[str]:
    names = ", ".join(_quoted(piece.board) for piece in stage.parts)
    rows = textwrap.wrap(f"parts = [{names}]", _WIDE, subsequent_indent="  ", break_long_words=False)
    return [
        "[[stage]]",
        f"name = {_quoted(stage.name)}",
        *rows,
        *told.put(f"stage {stage.name}", f"output = {_quoted(stage.output)}"),
        "",
    ]


def _part(piece: Piece) -> tuple[Piece, str] | None:
    """Return a line of ``[parts]`` for a part that needs one."""
    if not piece.kind:
        return None
    named = piece.board if piece.board != piece.name else ""
    if piece.letter == "x":
        row = [f"kind = {_quoted(piece.kind)}"]
        if named:
            row.append(f"as = {_quoted(named)}")
        if piece.kind == "potentiometer":
            row.append(f"value = {_quoted(show(piece.value or 0.0, 'ohm', 6))}")
        elif piece.pins:
            row.append(f"pins = [{', '.join(map(_quoted, piece.pins))}]")
        return piece, f"{piece.name} = {{ {', '.join(row)} }}"
    words = [named, piece.kind if _worth_saying(piece) else "", piece.text]
    said = " ".join(word for word in words if word)
    return (piece, f"{piece.name} = {_quoted(said)}") if said else None


def _worth_saying(piece: Piece) -> bool:
    """Tell whether a part's kind is not the one its value and letter would give."""
    return piece.letter == "c" and (piece.kind != capacitor_kind(piece.value) or piece.kind != "ceramic")


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _clean(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


def netlist_text(title: str, source: str, definitions: Iterable[str], pieces: Iterable[Piece]) -> str:
    """Return a cleaned netlist: title, elements, and what they need."""
    lines = [f"* {_clean(title) or source}", f"* Cleaned by `lostgain import` from {_clean(source)}."]
    lines += [piece.line for piece in pieces]
    lines += list(definitions)
    long = []
    for line in lines:
        if line.startswith("*"):
            long.append(line)
        else:
            long += textwrap.wrap(line, _WIDE, subsequent_indent="+ ", break_long_words=False, break_on_hyphens=False)
    return "\n".join([*long, ".end"]) + "\n"


def order_of(sure: str) -> int:
    """Return where a guess stands in a list: the least sure first."""
    return (DOUBTFUL, LIKELY, SURE).index(sure)
