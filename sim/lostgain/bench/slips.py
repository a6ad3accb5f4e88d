"""Slips of transcription: what a unit file may have wrong, and the circuit as it would be without the slip."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from lostgain.bench.printed_model import PrintedLine, Slip
from lostgain.circuit import Circuit, PlacedPart
from lostgain.quantities import PP_PER_RMS, show
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part, Rail
from lostgain.unit.summary import value_shown

#: Factors a value is off by when a letter or a zero is misread, and how usual that is (0: most usual).
FACTORS = ((0.1, 0), (10.0, 0), (0.01, 2), (100.0, 2), (1e-3, 3), (1e3, 3))
_WITH_VALUE = ("ohm", "farad", "henry")
#: Printed levels count as off alike where their ratios to the simulated ones lie within this factor.
_SAME = 1.06
#: What a printed value is multiplied by to undo a slip in it, how usual the slip is, and why.
_PRINTED = {
    "level": (
        (1 / PP_PER_RMS, 0, " (it is peak to peak)"),
        (PP_PER_RMS, 1, " (it is rms)"),
        (0.1, 1, ""),
        (10.0, 1, ""),
    ),
    "dc": ((-1.0, 0, " (its sign)"), (0.1, 1, ""), (10.0, 1, "")),
}


def slips(circuit: Circuit) -> Iterator[Slip]:
    """Yield the slips that are tried, in the order of the unit file within each kind.

    Every part's value by ten, a hundred and a thousand either way; two parts of one family and stage swapped; a rail of
    the wrong sign, doubled or halved, or two rails exchanged.
    """
    valued = [place for place in circuit.parts.values() if _elements(circuit, place)]
    for place in valued:
        yield from _by_factor(circuit, place)
    for one, other in combinations(valued, 2):
        yield from _swapped(circuit, one, other)
    yield from _rails(circuit)


def _elements(circuit: Circuit, place: PlacedPart) -> tuple[str, ...]:
    """Return the elements that make up a part's value; none for a part without one."""
    part = place.part
    if part.value is None or kinds()[part.kind].unit not in _WITH_VALUE:
        return ()
    if not place.subckt:
        return (place.element,)
    return place.track(circuit.flat) or ()


def _by_factor(circuit: Circuit, place: PlacedPart) -> Iterator[Slip]:
    part = place.part
    for factor, unusual in FACTORS:
        other = show((part.value or 0.0) * factor, kinds()[part.kind].unit)
        text = f"{part.designator} as {other} rather than {value_shown(part)}"
        yield Slip((part.designator,), "value", text, part.where, _scaled(circuit, place, factor), unusual)


def _scaled(circuit: Circuit, place: PlacedPart, factor: float) -> dict[str, float]:
    return {name: circuit.flat.elements[name].value * factor for name in _elements(circuit, place)}


def _swapped(circuit: Circuit, one: PlacedPart, other: PlacedPart) -> Iterator[Slip]:
    first, second = one.part, other.part
    if first.stage != second.stage or not first.value or not second.value or first.value == second.value:
        return
    if _family(first) != _family(second):
        return
    values = {
        **_scaled(circuit, one, second.value / first.value),
        **_scaled(circuit, other, first.value / second.value),
    }
    here, there = f"{first.designator} as {value_shown(second)}", f"{second.designator} as {value_shown(first)}"
    text = f"{here} and {there}, exchanged,"
    yield Slip((first.designator, second.designator), "swapped", text, first.where, values, 1)


def _family(part: Part) -> str:
    return kinds()[part.kind].family


def _rails(circuit: Circuit) -> Iterator[Slip]:
    rails = [rail for rail in circuit.unit.rails if rail.name in circuit.parts]
    for rail in rails:
        for factor, unusual in ((-1.0, 1), (2.0, 1), (0.5, 1), (10.0, 2), (0.1, 2)):
            text = f"rail {rail.name} as {_signed(rail.volts * factor)} rather than {_signed(rail.volts)}"
            yield Slip((rail.name,), "rail", text, rail.where, {_source(circuit, rail): rail.volts * factor}, unusual)
    for one, other in combinations(rails, 2):
        if one.volts != other.volts:
            text = (
                f"rail {one.name} as {_signed(other.volts)} and rail {other.name} as {_signed(one.volts)}, exchanged,"
            )
            values = {_source(circuit, one): other.volts, _source(circuit, other): one.volts}
            yield Slip((one.name, other.name), "rail", text, one.where, values, 1)


def _source(circuit: Circuit, rail: Rail) -> str:
    return circuit.parts[rail.name].element


def _signed(volts: float) -> str:
    return f"{'+' * (volts > 0)}{show(volts, 'V')}"


def other_circuits(circuit: Circuit, lines: Sequence[PrintedLine]) -> Iterator[Slip]:
    """Yield every slip in the circuit, and one of the generator's level where all printed levels are off alike."""
    yield from slips(circuit)
    ratios = [line.printed / line.simulated for line in lines if line.quantity == "level" and line.simulated > 0]
    usable = [ratio for ratio in ratios if math.isfinite(ratio) and ratio > 0]
    if len(usable) < 2 or len(usable) < len(ratios) or max(usable) > _SAME * min(usable):
        return
    ratio = math.exp(sum(map(math.log, usable)) / len(usable))
    setup = circuit.unit.setup
    text = f"the generator at {show(setup.generator * ratio, 'V rms')} rather than {show(setup.generator, 'V rms')}"
    yield Slip((), "set-up", text, setup.where, {}, 0, drive=ratio)


def printed_slips(lines: Sequence[PrintedLine]) -> Iterator[Slip]:
    """Yield slips in the one printed value that is off, where there is only one."""
    off = [line for line in lines if not line.agrees]
    if len(off) != 1:
        return
    line = off[0]
    for factor, unusual, why in _PRINTED[line.quantity]:
        value = line.printed * factor
        unit = "V rms" if line.quantity == "level" else "V DC"
        text = f"the value printed at {line.point} as {show(value, unit)} rather than {line.text}{why}"
        yield Slip((), "printed", text, line.where, {}, unusual, printed=(line.point, line.quantity, value))
