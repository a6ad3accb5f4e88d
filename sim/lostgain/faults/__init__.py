"""The catalogue of failure modes by part kind, how often each happens, and how each is put into a circuit."""

from lostgain.faults.catalogue import Mode, modes_for
from lostgain.faults.edits import put_in
from lostgain.faults.listing import listing
from lostgain.faults.model import Fault
from lostgain.faults.parse import parse
from lostgain.faults.rates import Rates, rates
from lostgain.faults.strays import Stray, put_stray, strays

__all__ = [
    "Fault",
    "Mode",
    "Rates",
    "Stray",
    "listing",
    "modes_for",
    "parse",
    "put_in",
    "put_stray",
    "rates",
    "strays",
]
