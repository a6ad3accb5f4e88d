"""``load`` of a unit file: ``8R``, ``10k 2n2``, ``open``, or a loudspeaker of ``circuits/loads`` or the unit's own."""

from __future__ import annotations

import re
from functools import cache

from lostgain import quantities, shipped
from lostgain.problems import nearest
from lostgain.quantities import show
from lostgain.unit.load import OPEN, Load, Loudspeaker
from lostgain.unit.parttext import words
from lostgain.unit.source import Source, Table

_OPEN = ("open", "none")
_CAPACITANCE = re.compile(r"[\d.,]+[pnuµ][\d]*F?|[\d.,]+F", re.IGNORECASE)
_EXAMPLES = "“8R”, “10k 2n2”, “open” or the name of a loudspeaker"


def load_names() -> tuple[str, ...]:
    """Return the names of the library's loudspeakers."""
    return tuple(sorted(file.stem for file in (shipped.folder() / "loads").glob("*.toml")))


@cache
def library_load(name: str) -> Load:
    """Return a loudspeaker of the library as a load.

    Raises
    ------
    UserError
        If its file is at fault.
    """
    source = Source(shipped.folder() / "loads" / f"{name}.toml")
    table = Table(source, (), "the loudspeaker", source.data)
    table.text("source", required='"our own, numbers typical of the class"')
    load = read_loudspeaker(table)
    source.settle()
    return load or OPEN


def read_load(table: Table, key: str = "load") -> Load | None:
    """Return the load written at a key; None where it is missing or wrong, which is noted."""
    if key not in table.data:
        return None
    if isinstance(table.data[key], dict):
        return read_loudspeaker(table.table(key, key))
    text = table.get(key, str, f"a text: {_EXAMPLES}")
    if text is None:
        return None
    try:
        return parse_load(text)
    except ValueError as error:
        known = (*_OPEN, *load_names())
        table.wrong(key, f"{key}: {error}", nearest(text, known) if not any(map(str.isdigit, text[:1])) else "")
        return None


def parse_load(text: str) -> Load:
    """Return what a load's text says.

    Parameters
    ----------
    text : str
        A resistance (``8R``, ``8 ohm``), a capacitance (``2n2``), both (then the capacitor lies across the resistor),
        ``open``, or the name of a loudspeaker in ``circuits/loads``.

    Raises
    ------
    ValueError
        If it is none of these.
    """
    name = text.strip().lower()
    if name in _OPEN:
        return OPEN
    if name in load_names():
        return library_load(name)
    ohms: float | None = None
    farads = 0.0
    for word in words(text):
        if _CAPACITANCE.fullmatch(word):
            if farads:
                raise ValueError(f"“{text}” gives two capacitances.")
            farads = quantities.measure(word, "capacitance").value
        elif ohms is not None:
            raise ValueError(f"“{text}” is no load: expected {_EXAMPLES}.")
        else:
            ohms = quantities.measure(word, "resistance").value
            if ohms <= 0:
                raise ValueError(f"“{text}” should be above zero, for example “8R”.")
    if ohms is None and not farads:
        raise ValueError(f"“{text}” is no load: expected {_EXAMPLES}.")
    return Load(_named(ohms, farads), ohms, farads)


def _named(ohms: float | None, farads: float) -> str:
    """Return a load in words: ``8 Ω with 100 nF across``."""
    if ohms is None:
        return show(farads, "farad")
    across = f" with {show(farads, 'farad')} across" if farads else ""
    return show(ohms, "ohm") + across


def read_loudspeaker(table: Table) -> Load | None:
    """Read a loudspeaker: its rated impedance and what its resonance and voice coil measure."""
    found = {
        "nominal": _above_zero(table, "nominal", "resistance", "8R"),
        "re": _above_zero(table, "re", "resistance", "5.8R"),
        "le": _above_zero(table, "le", "inductance", "0.6mH"),
        "fs": _above_zero(table, "fs", "frequency", "45 Hz"),
        "qms": _above_zero(table, "qms", "", "3.5"),
        "qes": _above_zero(table, "qes", "", "0.45"),
    }
    title = table.text("title", "loudspeaker")
    table.finish()
    numbers = {key: value for key, value in found.items() if value is not None}
    if len(numbers) < len(found):
        return None
    speaker = Loudspeaker(title, **numbers)
    return Load(f"{title}, {show(speaker.nominal, 'ohm')}", speaker.nominal, speaker=speaker)


def _above_zero(table: Table, key: str, dimension: str, example: str) -> float | None:
    """Return a number above zero: a quantity in text, or a plain number where there is no dimension."""
    if key not in table.data:
        shown = f"“{example}”" if dimension else example
        table.lacks(key, f"a loudspeaker needs {key}, for example {key} = {shown}.")
        return None
    if not dimension:
        value = table.get(key, (int, float), f"a number, for example {example}")
    else:
        text = table.get(key, str, f"a text with its unit, for example “{example}”")
        try:
            value = None if text is None else _in_si(text, dimension)
        except ValueError as error:
            table.wrong(key, f"{key}: {error}")
            return None
    if value is not None and value <= 0:
        table.wrong(key, f"{key} should be above zero, for example {example}.")
        return None
    return None if value is None else float(value)


def _in_si(text: str, dimension: str) -> float:
    if dimension == "inductance":
        return quantities.component(text, "henry")
    return quantities.measure(text, dimension).value
