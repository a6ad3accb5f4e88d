"""From readings to suspects: likelihood, probabilities, ambiguity groups."""

from lostgain.diagnosis.knowledge import Knowledge, known
from lostgain.diagnosis.limits import Limits, limits
from lostgain.diagnosis.match import match
from lostgain.diagnosis.model import Evidence, Group, Suspect, Verdict
from lostgain.diagnosis.off_checks import PartCheck, part_checks
from lostgain.diagnosis.two import Tried, Two, two_at_once, unexplained_alone

__all__ = [
    "Evidence",
    "Group",
    "Knowledge",
    "Limits",
    "PartCheck",
    "Suspect",
    "Tried",
    "Two",
    "Verdict",
    "known",
    "limits",
    "match",
    "part_checks",
    "two_at_once",
    "unexplained_alone",
]
