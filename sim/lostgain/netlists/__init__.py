"""SPICE netlists from elsewhere: read with the habits of schematic editors, cleaned, and cut into a first unit."""

from lostgain.netlists.model import Guess, Imported
from lostgain.netlists.take import import_netlist

__all__ = ["Guess", "Imported", "import_netlist"]
