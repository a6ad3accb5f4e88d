"""From readings to suspects: likelihood, probabilities, ambiguity groups."""

from lostgain.diagnosis.knowledge import Knowledge, known
from lostgain.diagnosis.limits import Limits, limits
from lostgain.diagnosis.match import match
from lostgain.diagnosis.model import Evidence, Group, Suspect, Verdict

__all__ = ["Evidence", "Group", "Knowledge", "Limits", "Suspect", "Verdict", "known", "limits", "match"]
