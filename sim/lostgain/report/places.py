"""Where a suspect sits, as it is written everywhere."""

from __future__ import annotations

from lostgain.diagnosis.model import Suspect

#: What a unit's only channel is called where the unit file names none: a word of the program's, which tells nobody
#: anything.
UNNAMED = "main"


def place_text(suspect: Suspect) -> str:
    """Return a suspect's stage and channel: ``Gain stage, Zone B``; the stage alone where there is one channel."""
    if suspect.channel == UNNAMED:
        return suspect.stage
    return f"{suspect.stage}, {'all channels' if suspect.channel == 'all' else suspect.channel}"
