"""The description of a unit: files, stages, parts, test points, set-ups; validation."""

from lostgain.unit.channels import called
from lostgain.unit.find import find_units
from lostgain.unit.read import open_unit

__all__ = ["called", "find_units", "open_unit"]
