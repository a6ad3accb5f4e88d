"""What a reading is: quantities, words, instruments and their errors, and readings files."""

from lostgain.readings.instruments import instruments
from lostgain.readings.model import SIGNS, STATES, WHOLE_UNIT, WORDS, Instrument, Reading, Readings
from lostgain.readings.read import read
from lostgain.readings.reference import with_reference
from lostgain.readings.words import Word, words
from lostgain.readings.write import write

__all__ = [
    "SIGNS",
    "STATES",
    "WHOLE_UNIT",
    "WORDS",
    "Instrument",
    "Reading",
    "Readings",
    "Word",
    "instruments",
    "read",
    "with_reference",
    "words",
    "write",
]
