"""Sheets, cautions, and the comparison with printed values."""

from lostgain.bench.cautions import Caution, cautions
from lostgain.bench.sheet import sheet
from lostgain.bench.sheet_model import Sheet

__all__ = ["Caution", "Sheet", "cautions", "sheet"]
