"""The columns of a readings file, and what may be set for the whole of it."""

from __future__ import annotations

#: Columns and what else a technician may head them.
COLUMNS: dict[str, tuple[str, ...]] = {
    "test point": ("point", "testpoint", "where", "place", "node", "tp", "measured at", "probe", "probe at"),
    "quantity": ("what", "kind", "type", "measurement"),
    "value": ("reading", "measured", "result", "read"),
    "frequency": ("freq", "f", "generator", "generator frequency", "hz"),
    "generator level": ("drive", "driven with", "generator at", "generator volts"),
    "channel": ("chan", "ch", "side", "zone"),
    "instrument": ("with", "meter", "measured with", "probe type"),
    "against": ("ref", "reference", "other lead", "second lead", "to", "across", "other point", "against point"),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
}
REQUIRED = ("test point", "value")

#: What a comment line ``# good channel: Zone A`` may set for the whole file.
SETTINGS = ("good channel", "channel", "instrument", "frequency", "generator level", "state")
