"""A case of the corpus: a TOML file that says what it tries and what must come of it, and the folder made from it.

========== ============================================================================================================
tries      What it tries, in a sentence.
ends       ``refused``, or ``harmless``: the unit is then built as any other.
at         File and line that the refusal must name (``board.cir:4``), or the file alone.
says       Words of the message.
slow       True where ngspice has to be stopped by its time limit.
[files]    File to text. ``@MARK@`` is a file that must never come to be, ``@SECRET@`` one that must never be read.
[grown]    File to ``start``, then ``times`` times ``each`` with ``{n}`` and ``{next}`` counted from 0, then ``end``.
[links]    Link to what it leads to.
[special]  File to ``fifo`` or ``folder``.
[encoding] File to its encoding, where that is not UTF-8.
========== ============================================================================================================

A case without a ``unit.toml`` is a unit that is one netlist, ``board.cir``.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CASES = Path(__file__).with_name("cases")

UNIT = """[unit]
title = "Board"
netlist = "board.cir"
input = "in"
output = "out"
[setup]
generator = "1 V rms"
"""

#: What stands in the file that must not be read: a netlist, so that a reader of it would show by the value.
CANARY = "R777 out 0 424242\n* canary-7d1f\n"


@dataclass(frozen=True)
class Case:
    """One case; see the head of this file."""

    name: str
    tries: str
    ends: str
    at: str = ""
    says: str = ""
    slow: bool = False
    files: dict[str, str] = field(default_factory=dict)
    grown: dict[str, dict[str, Any]] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)
    special: dict[str, str] = field(default_factory=dict)
    encoding: dict[str, str] = field(default_factory=dict)


def cases() -> list[Case]:
    """Return the corpus."""
    return [Case(file.stem, **tomllib.loads(file.read_text("utf-8"))) for file in sorted(CASES.glob("*.toml"))]


def lay_out(case: Case, place: Path) -> Path:
    """Write a case into a folder: the unit's own folder in it, the secret beside that, a home; return the unit's."""
    unit, home = place / "unit", place / "home"
    unit.mkdir(parents=True)
    home.mkdir()
    for secret in (place / "secret.txt", home / "secret.txt"):
        secret.write_text(CANARY)
    texts = {} if {"unit.toml"} & {*case.links, *case.special} else {"unit.toml": UNIT}
    texts |= case.files
    for name, row in case.grown.items():
        each = (str(row["each"]).replace("{next}", str(n + 1)).replace("{n}", str(n)) for n in range(row["times"]))
        texts[name] = f"{row['start']}{''.join(each)}{row['end']}"
    for name, text in texts.items():
        text = text.replace("@MARK@", str(place / "mark")).replace("@SECRET@", str(place / "secret.txt"))
        (unit / name).write_bytes(text.encode(case.encoding.get(name, "utf-8")))
    for name, target in case.links.items():
        (unit / name).symlink_to(target)
    for name, sort in case.special.items():
        os.mkfifo(unit / name) if sort == "fifo" else (unit / name).mkdir()
    return unit
