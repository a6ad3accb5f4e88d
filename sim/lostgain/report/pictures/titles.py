"""What the pictures say in words, from the records."""

from __future__ import annotations

from lostgain.diagnosis.severity import sentence
from lostgain.quantities import show
from lostgain.signatures import Prediction
from lostgain.unit.model import Unit

#: What the set-up's frequencies are called, in its order.
PLACES = ("middle", "low", "high")


def failure(prediction: Prediction) -> str:
    """Return the failure's short name: ``R14 open``, or several joined by "and"."""
    return " and ".join(f"{fault.part} {fault.mode}" for fault in prediction.faults) or "healthy"


def about(prediction: Prediction) -> str:
    """Return what is wrong, for people, and whose names are used: ``C12 has 2 nF left. Named as in Zone A.``."""
    channels = prediction.circuit.unit.channels
    said = [sentence(fault, fault.severity, None, prediction.circuit, None) for fault in prediction.faults]
    # A prediction holds for every channel. Without this, who has C106 in hand would look for C6.
    named = f". Named as in {channels[0].name}." if len(channels) > 1 else ""
    return ("; ".join(said) or "nothing is wrong") + named


def frequency(value: float, index: int) -> str:
    """Return ``middle, 500 Hz``."""
    place = f"{PLACES[index]}, " if index < len(PLACES) else ""
    return f"{place}{show(value, 'Hz')}"


def drive(unit: Unit) -> str:
    """Return the unit's title and how it is driven: ``Two-zone amplifier; generator 200 mV rms, load 8 Ω``."""
    setup = unit.setup
    load = ", no load" if setup.load.is_open else f", load {setup.load.text}"
    return f"{unit.title}; generator {show(setup.generator, 'V rms')}{load}"
