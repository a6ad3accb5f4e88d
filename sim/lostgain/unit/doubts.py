"""What a unit file may say, and hardly means: a part's designator and its value are held against what is usual."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from lostgain.problems import Problem, Where
from lostgain.quantities import show
from lostgain.unit.kinds import Kind, capacitor_kind, kinds
from lostgain.unit.model import Part, Reservoir

#: Families of part that a designator's letters may stand for (IEEE 315 and common practice, from memory, to be
#: verified). Other letters say nothing.
_FAMILIES = {
    "R": ("resistor", "potentiometer", "contact"),
    "RV": ("potentiometer", "resistor"),
    "VR": ("potentiometer", "resistor"),
    "C": ("capacitor",),
    "L": ("inductor",),
    "D": ("diode",),
    "Q": ("npn", "pnp", "njf"),
    "U": ("opamp", "regulator"),
    "IC": ("opamp", "regulator"),
    "V": ("triode", "pentode"),
    "F": ("contact",),
}
_UNITS = {"ampere": "A", "volt": "V"}


def doubts(parts: Iterable[Part], reservoirs: Iterable[Reservoir] = ()) -> Iterator[Problem]:
    """Yield what is doubted of parts, in their order, then of reservoirs with their bleeders."""
    for part in parts:
        if part.kind != "rail":  # a rail has a name and no designator
            yield from _letters(part.designator, kinds()[part.kind], part.where)
        if part.value is not None:
            yield from _value(part.designator, kinds()[part.kind], part.value, part.where)
    for each in reservoirs:
        kind = kinds()[capacitor_kind(each.capacitance)]
        yield from _letters(each.designator, kind, each.where)
        yield from _value(each.designator, kind, each.capacitance, each.where)
        if each.bleeder is not None:
            yield from _value(f"the bleeder of {each.designator}", kinds()["resistor"], each.bleeder, each.where)


def _letters(designator: str, kind: Kind, where: Where) -> Iterator[Problem]:
    letters = (re.match(r"[A-Z]+", designator) or [""])[0]
    families = _FAMILIES.get(letters, (kind.family,))
    if kind.family not in families:
        meant = f"Is the role or the designator another? {letters} usually stands for {_named(families[0])}."
        yield Problem(f"{designator} stands where {_named(kind.family)} belongs.", where, meant)


def _value(called: str, kind: Kind, value: float, where: Where) -> Iterator[Problem]:
    size = abs(value)
    if kind.usual is None or kind.usual[0] <= size <= kind.usual[1] or (kind.name == "resistor" and size == 0):
        return  # a resistor of 0 ohm is a wire link
    unit = _UNITS.get(kind.unit, kind.unit)
    low, high = (show(each, unit) for each in kind.usual)
    usual = f"One usually has {low} to {high}."
    micro = size * 1e-6
    if kind.family == "capacitor" and size > kind.usual[1] and kind.usual[0] <= micro <= kind.usual[1]:
        usual += f" Is {show(micro, unit)} meant?"
    yield Problem(f"{called}: {_named(kind.family)} of {show(value, unit)} is doubtful.", where, usual)


def _named(family: str) -> str:
    """Return what a family of parts is called, with its article."""
    name = {"opamp": "op-amp", "npn": "NPN transistor", "pnp": "PNP transistor", "njf": "JFET"}.get(family, family)
    return f"an {name}" if name[0] in "aeioN" else f"a {name}"
