"""Sheets, cautions, and the comparison with printed values."""

from lostgain.bench.cautions import Caution, cautions
from lostgain.bench.printed import compare_printed
from lostgain.bench.printed_model import PrintedReport
from lostgain.bench.sheet import sheet
from lostgain.bench.sheet_model import Sheet

__all__ = ["Caution", "PrintedReport", "Sheet", "cautions", "compare_printed", "sheet"]
