"""What readings with the power off say of a part by themselves, and which of them cannot be relied on.

What lies in parallel with a part can only lower what an ohmmeter shows across it, whatever it is made of: current that
takes another way is current that the part needs not carry. So a part that reads higher in circuit than its value allows
is bad, once nothing charges any more, no charge is left from before and both polarities agree. One that reads lower may
only be bridged; what the parts around it make of a healthy one is computed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.off_paths import BRIDGED, bridges, lowering
from lostgain.quantities import figures, show
from lostgain.readings import instruments
from lostgain.readings.model import OFF, UNITS, Instrument, Reading
from lostgain.readings.words import quantities
from lostgain.signatures import Table
from lostgain.signatures.poweroff_facts import facts
from lostgain.signatures.poweroff_places import ESR_KINDS
from lostgain.signatures.poweroff_table import OffTable, Spot
from lostgain.unit.model import Channel, Part

#: Nine readings out of ten lie within so many standard deviations.
NINE_TENTHS = 1.645
#: Readings of both polarities that differ by less than this share agree; what moves by less has settled.
ALIKE, SETTLED = 0.03, 0.03
#: An ESR so many times that of its twin in the good channel is suspect (common practice, no source).
TWIN = 2.0


@dataclass(frozen=True)
class PartCheck:
    """What a healthy part shows in circuit with the power off, and what can be concluded from it.

    Parameters
    ----------
    part, stage, quantity, instrument : str
    point, against : str
        Where the leads go; for across a part `point` is its designator and `against` empty.
    alone : float
        What it shows out of circuit [ohm], of a diode test [V].
    value, reversed : float
        What it shows in circuit after the meter's wait, and with the leads exchanged.
    low, high : float
        Where nine readings of healthy units out of ten lie.
    settled : float
        What it comes to in the end.
    agrees : bool
        Whether both polarities read the same.
    above : float
        Readings above this say that the part itself is bad; infinite where none does.
    largest : float
        The largest that the instrument shows.
    text : str
        For people.
    """

    part: str
    stage: str
    quantity: str
    instrument: str
    point: str
    against: str
    alone: float
    value: float
    reversed: float
    low: float
    high: float
    settled: float
    agrees: bool
    above: float
    largest: float
    text: str


def part_checks(table: Table, wanted: Sequence[str] = OFF) -> list[PartCheck]:
    """Return what healthy parts show in circuit, in the order of the unit's parts.

    Parameters
    ----------
    table : Table
        With power-off parts.
    wanted : sequence of str
        Quantities; each with its usual instrument.
    """
    known = instruments(table.circuit.unit.folder)
    found = []
    for part in table.off.parts:
        quantity = part.meter.quantity
        if quantity not in wanted or part.instrument != quantities()[quantity].instrument:
            continue
        for number, place in enumerate(part.places):
            if place.part and not place.lifted:
                found.append(_check(table, part, number, known[part.instrument]))
    order = list(table.circuit.unit.parts)
    return sorted(found, key=lambda each: (order.index(each.part), OFF.index(each.quantity)))


def _check(table: Table, part: OffTable, number: int, instrument: Instrument) -> PartCheck:
    place = part.places[number]
    one = table.circuit.parts[place.part].part
    quantity = part.meter.quantity
    lifted = part.spot(place.point, place.against, lifted=True)
    alone = float(part.value[0, 0, lifted.place, 0]) if lifted else float("nan")
    value, back = (float(each) for each in part.value[0, 0, number])
    settled = float(part.settled[0, number, 0])
    agrees = abs(value - back) <= ALIKE * max(value, back)
    low, high = _range(part, number, instrument)
    above = _most(one, instrument) if one.kind == "resistor" and quantity == "resistance" else float("inf")
    ways = bridges(table, part, number) if one.kind == "resistor" and quantity == "resistance" else ()
    text = _says(one, quantity, instrument, alone, value, back, settled, agrees, above, ways)
    return PartCheck(
        place.part, one.stage, quantity, part.instrument, place.point, place.against, alone, value, back, low, high,
        settled, agrees, above, instrument.largest(quantity), text,
    )  # fmt: skip


def _range(part: OffTable, number: int, instrument: Instrument) -> tuple[float, float]:
    """Return where nine readings of healthy units out of ten lie."""
    draws = part.value[0, 1:, number, 0]
    nominal = float(part.value[0, 0, number, 0])
    logs = np.log(np.maximum(draws[np.isfinite(draws)], 1e-12))
    spread = float(logs.std()) if len(logs) > 2 else 0.0
    other = abs(float(np.log(max(part.other[0, number, 0], 1e-12) / max(nominal, 1e-12))))
    own = np.hypot(instrument.scale_error, instrument.read_error)
    own = np.hypot(own, allowances().model_esr_share) if part.meter.quantity == "esr" else own
    reach = NINE_TENTHS * float(np.hypot(np.hypot(spread, own), 0.7 * other))
    lead = NINE_TENTHS * instrument.zero_error
    return max(nominal * np.exp(-reach) - lead, 0.0), nominal * np.exp(reach) + lead


def _most(part: Part, instrument: Instrument) -> float:
    """Return what a resistor reads at most, at the end of its tolerance and of the meter's errors [ohm]."""
    errors = 2 * np.hypot(instrument.scale_error, instrument.read_error)
    return float((part.value or 0.0) * (1 + part.tolerance[1]) * (1 + errors) + 2 * instrument.zero_error)


def _says(
    part: Part, quantity: str, instrument: Instrument, alone: float, value: float, back: float, settled: float,
    agrees: bool, above: float, ways: Sequence[str],
) -> str:  # fmt: skip
    largest = instrument.largest(quantity)
    unit = UNITS[quantity]
    if quantity == "esr":
        return "more than twice its twin in a good channel, or a new one, is suspect; an open one does not register."
    if quantity == "diode test":
        ways = "the same" if agrees else f"{shown_off(back, unit, largest)}"
        return f"with the leads exchanged {ways}."
    if not agrees:
        return f"with the leads exchanged {shown_off(back, unit, largest)}: a junction conducts, which is no fault."
    if abs(settled - value) > SETTLED * settled:
        where = shown_off(settled, unit, largest)
        return (
            f"that is after {show(instrument.wait, 's')}; it charges on to {where}. No verdict before it stands still."
        )
    if part.kind == "resistor" and value < (1 - BRIDGED) * alone:
        by = f"by {_listed(ways, 'and')}" if ways else "by what lies in parallel"
        return (
            f"bridged {by}, {show(alone, 'ohm')} alone. Above {show(above, 'ohm')}, settled and "
            f"the same both ways: it is bad. Below the range: it or what bridges it; lift a leg."
        )
    if part.kind == "resistor":
        return f"nothing bridges it. Above {show(above, 'ohm')}, settled and the same both ways: it is bad."
    return ""


def shown_off(value: float, unit: str, largest: float) -> str:
    """Return a value as a meter shows it: ``OL`` above the largest it reads."""
    return "OL" if value > largest else show(value, unit)


# What readings say.


def doubted(table: Table, readings: Iterable[Reading]) -> list[tuple[tuple[Reading, ...], str]]:
    """Return readings of both polarities that disagree where no fault makes them, and what to say of them.

    Parameters
    ----------
    table : Table
    readings : iterable of Reading
    """
    stated = facts(table.circuit.unit)
    groups: dict[tuple[str, str, int, bool], list[Reading]] = {}
    spots: dict[tuple[str, str, int, bool], Spot] = {}
    for each in readings:
        spot = _spot(table, each)
        if each.quantity == "resistance" and spot is not None and each.value and not (each.above or each.below):
            key = (each.channel, spot.part.key, spot.place, each.lifted)
            groups.setdefault(key, []).append(each)
            spots[key] = spot
    found = []
    for key, rows in groups.items():
        values = [row.value or 0.0 for row in rows]
        if len(rows) < 2 or max(values) < (1 + stated.disagree) * min(values):
            continue
        both = spots[key].part.value[:, 0, spots[key].place]
        with np.errstate(all="ignore"):
            apart = np.nanmax(np.abs(np.log(both[:, 0] / both[:, 1])))
        if apart < stated.predicted:
            read = " and ".join(row.text or show(row.value or 0.0, "ohm") for row in rows)
            says = (
                f"{_named(table, rows[0])}: {read} with the leads one way and the other, and no fault of the table "
                "does that there. Something is charged still: discharge it, verify with a meter, wait, and read again. "
                "These readings were left out."
            )
            found.append((tuple(rows), says))
    return found


def part_verdicts(table: Table, readings: Sequence[Reading], good: str = "") -> tuple[str, ...]:
    """Return what readings across parts say of these parts by themselves.

    Parameters
    ----------
    table : Table
    readings : sequence of Reading
        Without those that are doubted.
    good : str
        The channel known to be good, or empty.
    """
    known = instruments(table.circuit.unit.folder)
    told = []
    for each in readings:
        spot = _spot(table, each)
        if spot is None or each.value is None or each.channel == good:
            continue
        place = spot.part.places[spot.place]
        if not place.part:
            continue
        part = table.circuit.parts[place.part].part
        if each.quantity == "resistance" and part.kind == "resistor":
            told.append(_of_resistor(table, each, spot, part, known[each.instrument], readings))
        elif each.quantity == "esr" and part.kind in ESR_KINDS:
            told.append(_of_capacitor(table, each, part, readings, good, spot))
    return tuple(dict.fromkeys(text for text in told if text))


def _of_resistor(
    table: Table, each: Reading, spot: Spot, part: Part, instrument: Instrument, readings: Sequence[Reading]
) -> str:
    name, value = _named(table, each), each.value or 0.0
    text = each.text or show(value, "ohm")
    above = _most(part, instrument)
    nominal = show(part.value or 0.0, "ohm")
    if each.below:
        return ""
    if each.lifted:
        low = (part.value or 0.0) * (1 + part.tolerance[0]) * 0.99
        bad = value > above or (value < low and not each.above)
        return f"{name}, {text} out of circuit instead of {nominal}: it is bad." if bad else f"{name} is good."
    if value > above:
        both = [row for row in readings if row is not each and row.value is not None and _spot(table, row) is not None
                and _same_place(table, each, row)]  # fmt: skip
        more = "" if both else " if it reads the same with the leads exchanged and stands still"
        return (
            f"{name} reads {text}, more than its {nominal} allows. What lies in parallel can only lower a reading: "
            f"it, or a joint of it, is bad{more}."
        )
    low, _ = _range(spot.part, spot.place, instrument)
    if value < low and not each.above:
        healthy = show(float(spot.part.value[0, 0, spot.place, 0]), "ohm")
        channel = next((one for one in table.circuit.unit.channels if one.name == each.channel), None)
        found = [channel.called(one) if channel else one for one in lowering(table, spot, value)]
        which = f"a fault of {_listed(found, 'or')} does that" if found else "it, or something in parallel with it"
        return f"{name} reads {text}, a healthy one {healthy} here: {which}. Lift a leg."
    return ""


def _listed(names: Sequence[str], last: str) -> str:
    """Return ``R3``, ``R3 and R4`` or ``R3, R4 and R5``."""
    return f"{', '.join(names[:-1])} {last} {names[-1]}" if len(names) > 1 else names[0]


def _same_place(table: Table, one: Reading, other: Reading) -> bool:
    first, second = _spot(table, one), _spot(table, other)
    if first is None or second is None or (one.channel, one.lifted) != (other.channel, other.lifted):
        return False
    return (first.part.key, first.place) == (second.part.key, second.place)


def _of_capacitor(table: Table, each: Reading, part: Part, readings: Sequence[Reading], good: str, spot: Spot) -> str:
    name, value = _named(table, each), each.value or 0.0
    if each.above:
        return f"{name} does not register on the ESR meter: it is open, or dried out."
    twins = [row for row in readings if row.channel == good and good and row.quantity == "esr" and row.value
             and (row.point, row.against, row.lifted) == (each.point, each.against, each.lifted)]  # fmt: skip
    text = each.text or show(value, "ohm")
    if twins:
        twin = twins[0].value or 0.0
        if value >= TWIN * twin:
            return f"{name} reads {text} of ESR, {figures(value / twin, 2)} times its twin in {good}: suspect."
        return f"{name} reads {text} of ESR, about what its twin in {good} does." if value < 1.5 * twin else ""
    expected = float(spot.part.value[0, 0, spot.place, 0])
    if value >= TWIN * expected:
        return (
            f"{name} reads {text} of ESR where the table expects about {show(expected, 'ohm', 2)}: compare with a new "
            f"{show(part.value or 0.0, 'farad')} of its make, or with its twin, before it is called bad."
        )
    return ""


def _spot(table: Table, each: Reading) -> Spot | None:
    if each.quantity not in OFF:
        return None
    return table.off.spot(each.instrument, each.point, each.against, each.lifted)


def _named(table: Table, each: Reading) -> str:
    channels: dict[str, Channel] = {channel.name: channel for channel in table.circuit.unit.channels}
    channel = channels.get(each.channel)
    point = each.point.split()[0]
    name = channel.called(point) if channel else point
    return f"{name} ({each.channel})" if len(channels) > 1 and each.channel else name
