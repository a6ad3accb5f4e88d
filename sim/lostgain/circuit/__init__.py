"""From a unit to a proved flat circuit in which every part and every pin can be found."""

from lostgain.circuit.build import build
from lostgain.circuit.flat import Element, FlatCircuit
from lostgain.circuit.model import Circuit, Pin, PlacedPart
from lostgain.circuit.running import prove_running

__all__ = ["Circuit", "Element", "FlatCircuit", "Pin", "PlacedPart", "build", "prove_running"]
