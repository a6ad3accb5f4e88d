"""The text of a netlist file as editors save it: its encoding, and signs that SPICE does not know."""

from __future__ import annotations

import re
from pathlib import Path

from lostgain.engine.includes import LARGEST_FILE
from lostgain.netlists.model import LIKELY, SURE, Notes, wrong
from lostgain.problems import Where

#: One editor's nodes start with a dollar, where SPICE begins a comment: ``$N_0001``, ``$G_VCC``.
_DOLLAR_NODE = re.compile(r"\$(?=[A-Z]_\w)", re.IGNORECASE)
#: Brackets in the names that editors give to nets without a label: ``Net-(R1-Pad2)``.
_NET = re.compile(r"\b(net|unconnected)-\(([^()\s]*)\)", re.IGNORECASE)
_OHMS = re.compile(r"(?<=[0-9kKMGRg])\s?[Ω\u2126]")
_SIGNS = {"µ": "u", "μ": "u", "\u00a0": " ", "\u2212": "-", "§": "_", "“": '"', "”": '"'}

#: What most lines of other text files of schematic editors begin with.
_BRACKETS = '()<>[]{}"|'
#: What no text has; a few may have slipped in, and are told with their lines. Old systems end a file with a sign.
_NO_TEXT, _STRAY, _DOS_END = re.compile(r"[\x00-\x08\x0e-\x1f\x7f\ufffd]"), 8, "\x1a"


def lines_of(path: Path, where: Where, notes: Notes) -> list[str]:
    """Return the lines of a netlist file, with the signs that SPICE does not know put into its own.

    Parameters
    ----------
    path : Path
    where : Where
        What names the file, for messages.
    notes : Notes

    Raises
    ------
    UserError
        If it is no file, too large, empty or no text.
    """
    if not path.is_file():
        raise wrong(f"There is no file {path.name}.", where)
    if path.stat().st_size > LARGEST_FILE:
        raise wrong(f"{path.name} is too large for a netlist: at most {LARGEST_FILE / 1e6:g} MB.", where)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise wrong(f"{path.name} cannot be read: {error.strerror}.", where) from error
    text = _decoded(raw, path, notes).rstrip(_DOS_END)
    if not text.strip():
        raise wrong(f"{path.name} is empty.", where)
    if len(_NO_TEXT.findall(text)) > _STRAY:
        message = f"{path.name} is no text file, and a netlist is text."
        raise wrong(message, Where(path, 1), "A schematic editor exports one; its own files are something else.")
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if sum(line[0] in _BRACKETS for line in lines) > len(lines) / 2:
        message = f"{path.name} is no SPICE netlist: its lines are another kind of file's."
        raise wrong(message, Where(path, 1), "Have the schematic editor export the netlist for SPICE.")
    return plain_signs(text).replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _decoded(raw: bytes, path: Path, notes: Notes) -> str:
    """Return the text of a file in UTF-8, UTF-16 or the usual 8-bit letters of western Windows."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", "replace")
    if raw[1:64:2].count(0) > 16:
        return raw.decode("utf-16-le", "replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as trouble:
        line = raw[: trouble.start].count(b"\n") + 1
        say = "is not UTF-8; it was read as Windows-1252, which matters for µ only."
        notes.say(path.name, say, LIKELY, Where(path, line))
        return raw.decode("cp1252", "replace")


def plain_signs(text: str) -> str:
    """Return text in the letters of SPICE: µ is u, Ω goes, and names lose signs that begin a comment or a list."""
    for sign, plain in _SIGNS.items():
        text = text.replace(sign, plain)
    text = _OHMS.sub("", text)
    text = _NET.sub(lambda found: f"{found[1]}-_{found[2]}_", text)
    return _DOLLAR_NODE.sub("", text)


def section_note(notes: Notes, word: str, places: list[Where], why: str) -> None:
    """Say that lines were left out, once for all of one sort."""
    times = f", {len(places)} lines" if len(places) > 1 else ""
    notes.say(word, f"left out{times}: {why}.", SURE, places[0], group=f"left out: {why}")
