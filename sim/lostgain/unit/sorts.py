"""What sort of file somebody named: so that one given in the place of another is told as what it is."""

from __future__ import annotations

import re
from pathlib import Path

UNIT_FILE = "unit.toml"
FOLDER, UNIT_FOLDER, UNIT, NETLIST, READINGS = (
    "a folder", "the folder of a unit", "a unit file", "a netlist", "a readings file",
)  # fmt: skip

_NETLISTS = (".cir", ".net", ".sp", ".spice", ".ckt", ".lib", ".sub")
_HEAD = 4000  # bytes that are looked at


def sort_of(path: Path) -> str:
    """Return what a file or folder is by its name and its first line of content; empty where they don't tell."""
    try:
        if path.is_dir():
            return UNIT_FOLDER if (path / UNIT_FILE).is_file() else FOLDER
        if not path.is_file():
            return ""  # a pipe would be waited for
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except (OSError, ValueError):
        return ""
    suffix = path.suffix.lower()
    if suffix in _NETLISTS:
        return NETLIST
    text = head.decode("utf-16" if head.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig", errors="replace")
    lines = [line.strip() for line in text.splitlines()]
    first = next((line for line in lines if line and not line.startswith("#")), "")
    if re.fullmatch(r"\[\[?[\w.-]+\]\]?\s*(#.*)?", first):
        return UNIT
    columns = {cell.strip('" ').casefold() for cell in re.split(r"[,;\t]", first)}
    if "=" not in first and columns & {"value", "reading", "measured"} and len(columns) > 1:
        return READINGS
    return {".toml": UNIT, ".csv": READINGS, ".tsv": READINGS}.get(suffix, "")
