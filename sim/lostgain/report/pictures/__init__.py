"""Pictures of predictions and verdicts: each function takes a record and a path, and returns the path it wrote."""

from lostgain.report.pictures.chain import dc_chain, level_chain
from lostgain.report.pictures.match import level_match
from lostgain.report.pictures.response import response
from lostgain.report.pictures.suspects import suspects
from lostgain.report.pictures.waves import waves

__all__ = ["dc_chain", "level_chain", "level_match", "response", "suspects", "waves"]
