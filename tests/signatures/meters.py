"""What the tests have workers do with meters on unpowered circuits."""

from __future__ import annotations

from collections.abc import Sequence

from lostgain.circuit import Element, FlatCircuit
from lostgain.engine import Pool, Session
from lostgain.readings import instruments
from lostgain.readings.words import quantities
from lostgain.signatures.poweroff import meter_of
from lostgain.signatures.poweroff_circuit import FLOAT
from lostgain.signatures.poweroff_meter import Meter, after_wait, impedance, settled, take_off, with_meters

#: Shown, settled and after the wait, one way and with the leads exchanged.
Shown = tuple[tuple[float, float], tuple[float, float]]


def meter(name: str = "ohmmeter") -> Meter:
    """A shipped instrument, as the power-off part knows it."""
    instrument = instruments()[name]
    quantity = next(each for each in instrument.quantities if each in quantities())
    return meter_of(instrument, quantity)


def flat(*lines: str, models: dict[str, str] | None = None) -> FlatCircuit:
    """A circuit of elements of two or three nodes, as netlist lines."""
    elements = {}
    for line in lines:
        words = line.split()
        count = 3 if words[0][0] == "q" else 2
        elements[words[0]] = Element(words[0], tuple(words[1 : 1 + count]), " ".join(words[1 + count :]))
    return FlatCircuit(elements, models or {}, (FLOAT,))


def _shown(session: Session, item: tuple[FlatCircuit, tuple[str, str], Meter]) -> Shown:
    circuit, pair, meter = item
    found = []
    for sign in (1.0, -1.0):
        session.load(with_meters(circuit, [pair]).lines())
        value, range_, _ = settled(session, pair, 0, meter, sign)
        take_off(session, 0)
        found.append((value, after_wait(session, circuit, pair, meter, range_, sign)))
    return (found[0][0], found[1][0]), (found[0][1], found[1][1])


def _impedance(session: Session, item: tuple[FlatCircuit, tuple[str, str], Meter]) -> float:
    circuit, pair, meter = item
    session.load(with_meters(circuit, [pair]).lines())
    return impedance(session, pair, 0, meter)


def show(items: Sequence[tuple[FlatCircuit, tuple[str, str], Meter]]) -> list[Shown]:
    """What each meter shows, settled and after its wait."""
    with Pool(1) as pool:
        outcomes = pool.map(_shown, items)
    assert [each.error for each in outcomes] == [None] * len(items)
    return [each.value for each in outcomes]


def show_esr(items: Sequence[tuple[FlatCircuit, tuple[str, str], Meter]]) -> list[float]:
    """What each ESR meter shows."""
    with Pool(1) as pool:
        outcomes = pool.map(_impedance, items)
    assert [each.error for each in outcomes] == [None] * len(items)
    return [each.value for each in outcomes]
