"""Drawings of library stages, with the roles' names or with the designators and test points of a unit."""

from lostgain.report.drawing.draw import draw_stage
from lostgain.report.drawing.suspect import suspect_stage

__all__ = ["draw_stage", "suspect_stage"]
