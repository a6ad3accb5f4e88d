"""From readings to suspects: likelihood, probabilities, ambiguity groups."""

from lostgain.diagnosis.match import match
from lostgain.diagnosis.model import Evidence, Group, Suspect, Verdict

__all__ = ["Evidence", "Group", "Suspect", "Verdict", "match"]
