"""What a meter shows between two nodes of an unpowered circuit: its source put there, and its range chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Element, FlatCircuit
from lostgain.engine import Session

Values = NDArray[np.float64]

#: A meter that isn't there [ohm].
AWAY = 1e15
#: A reading below this share of the next smaller range is taken on that one.
DOWN = 0.9
#: Below this voltage across what is measured, no junction conducts, and both polarities read the same [V].
QUIET_VOLTS = 0.15
#: A capacitor may still be charging after the wait where less than this is left of the settled impedance at the
#: frequency that belongs to it: two time constants have passed at 0.9, when the reading has come to 0.87.
CHARGED = 0.97
#: Steps of a transient during the wait.
STEPS = 60


@dataclass(frozen=True)
class Meter:
    """What a table of the power-off part needs to know of an instrument.

    Parameters
    ----------
    quantity : str
        ``resistance``, ``diode test`` or ``esr``.
    open_volts : float
        Between its open leads [V]; for an ESR meter, without meaning.
    ranges : tuple of (float, float)
        Full scale and source resistance of each range [ohm], lowest first.
    wait : float
        After which it is read [s].
    frequency : float
        Of an ESR meter [Hz].
    shows : str
        Of an ESR meter: ``real`` part of the impedance, or its ``size``.
    """

    quantity: str
    open_volts: float = 0.0
    ranges: tuple[tuple[float, float], ...] = ((float("inf"), 1000.0),)
    wait: float = 5.0
    frequency: float = 100e3
    shows: str = "real"


def with_meters(flat: FlatCircuit, pairs: Sequence[tuple[str, str]]) -> FlatCircuit:
    """Return the circuit with a meter at every pair of nodes, none of them there yet."""
    sources = [Element(f"imeter{number}", (other, one), "0 ac 0") for number, (one, other) in enumerate(pairs)]
    inner = [Element(f"rmeter{number}", pair, f"{AWAY:g}") for number, pair in enumerate(pairs)]
    return flat.with_elements(*sources, *inner)


def put_on(session: Session, number: int, meter: Meter, range_: int, sign: float) -> None:
    """Put a meter on its pair: Norton's equivalent of its source."""
    ohms = meter.ranges[range_][1]
    session.change({f"imeter{number}": sign * meter.open_volts / ohms, f"rmeter{number}": ohms}, {})


def take_off(session: Session, number: int) -> None:
    """Take it away."""
    session.change({f"imeter{number}": 0.0, f"rmeter{number}": AWAY}, {})


def volts_across(session: Session, pair: tuple[str, str]) -> float:
    """Return the voltage between two nodes, settled [V]."""
    one, other = session.op(list(pair))
    return float(one - other)


def reading(volts: float, meter: Meter, range_: int) -> float:
    """Return what the meter makes of the voltage between its leads: ohms by Ohm's law, or volts of a diode test.

    Parameters
    ----------
    volts : float
        Plus against minus [V].
    meter : Meter
    range_ : int
    """
    if meter.quantity == "diode test":
        return max(volts, 0.0)
    current = (meter.open_volts - volts) / meter.ranges[range_][1]
    return max(volts, 0.0) / max(current, 1e-15)


def settled(
    session: Session, pair: tuple[str, str], number: int, meter: Meter, sign: float, begin: int = 0
) -> tuple[float, int, float]:
    """Return what a meter shows once everything has charged, the range it is on and the volts across its leads.

    The circuit that is loaded has `with_meters`; the meter is left on.

    Parameters
    ----------
    session : Session
    pair : (str, str)
    number : int
        The pair's place among those of `with_meters`.
    meter : Meter
    sign : float
        1, or -1 for exchanged leads.
    begin : int
        Range to begin with.
    """
    range_, tried = begin, set()
    while True:
        put_on(session, number, meter, range_, sign)
        volts = sign * volts_across(session, pair)
        value = reading(volts, meter, range_)
        tried.add(range_)
        wanted = next_range(value, meter, range_)
        if wanted == range_ or wanted in tried:
            return value, range_, volts
        range_ = wanted


def next_range(value: float, meter: Meter, range_: int) -> int:
    """Return the range a meter goes to from a reading on another."""
    if value > meter.ranges[range_][0] and range_ + 1 < len(meter.ranges):
        return range_ + 1
    if range_ and value < DOWN * meter.ranges[range_ - 1][0]:
        return range_ - 1
    return range_


def charging(session: Session, pair: tuple[str, str], number: int, meter: Meter) -> float:
    """Return how much of the settled impedance is there at the frequency that belongs to the wait: a ratio.

    With the meter on, as `settled` left it. One time constant as long as the wait gives 0.7, a fifth of it 0.98.
    """
    session.change({f"@imeter{number}[acmag]": 1.0}, {})
    try:
        found = session.ac([1e-7 / meter.wait, 1 / (2 * np.pi * meter.wait)], list(pair))
    finally:
        session.change({f"@imeter{number}[acmag]": 0.0}, {})
    across = np.abs(found[0] - found[1])
    return float(across[1] / max(across[0], 1e-30))


def after_wait(
    session: Session, flat: FlatCircuit, pair: tuple[str, str], meter: Meter, range_: int, sign: float
) -> float:
    """Return what a meter shows after its wait, from empty capacitors on.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
        Unpowered, without meters.
    pair : (str, str)
    meter : Meter
    range_ : int
        To begin with: the one it settles on.
    sign : float
    """
    value, tried = 0.0, set()
    while range_ not in tried:
        tried.add(range_)
        ohms = meter.ranges[range_][1]
        amperes = sign * meter.open_volts / ohms
        step = Element("imeter", (pair[1], pair[0]), f"pwl(0 0 1e-6 {amperes:.12g})")
        one = flat.with_elements(step, Element("rmeter", pair, f"{ohms:.12g}"))
        session.load(one.lines())
        _, values = session.tran(meter.wait, meter.wait / STEPS, list(pair))
        value = reading(sign * float(values[0, -1] - values[1, -1]), meter, range_)
        range_ = next_range(value, meter, range_)
    return value


def impedance(session: Session, pair: tuple[str, str], number: int, meter: Meter) -> float:
    """Return what an ESR meter shows between two nodes [ohm]."""
    session.change({f"@imeter{number}[acmag]": 1.0}, {})
    try:
        one, other = session.ac([meter.frequency], list(pair))[:, 0]
    finally:
        session.change({f"@imeter{number}[acmag]": 0.0}, {})
    return float(abs(one - other) if meter.shows == "size" else max((one - other).real, 0.0))
