"""Pictures of predictions and verdicts: each function takes a record and a path, and returns the path it wrote."""

from lostgain.report.pictures.band import response
from lostgain.report.pictures.bars import suspects
from lostgain.report.pictures.chain import dc_chain, level_chain
from lostgain.report.pictures.match import level_match
from lostgain.report.pictures.sines import waves

__all__ = ["dc_chain", "level_chain", "level_match", "response", "suspects", "waves"]
