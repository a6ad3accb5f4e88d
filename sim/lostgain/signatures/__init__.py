"""Which analyses serve which readings; building, storing and opening signature tables; predictions."""

from lostgain.signatures.build import table
from lostgain.signatures.table import Table

__all__ = ["Table", "table"]
