"""What a reading is: quantities, words, instruments and their errors, and readings files."""

from lostgain.readings.instruments import instruments
from lostgain.readings.model import WORDS, Instrument, Reading, Readings
from lostgain.readings.read import read
from lostgain.readings.words import Word, words
from lostgain.readings.write import write

__all__ = ["WORDS", "Instrument", "Reading", "Readings", "Word", "instruments", "read", "words", "write"]
