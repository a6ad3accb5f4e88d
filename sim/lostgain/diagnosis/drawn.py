"""What a suspect predicts along the chain, for pictures: at the severity that the readings give it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.model import Suspect
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Levels below this are drawn alike [V rms].
LEAST = 1e-6


def suspect_levels(table: Table, suspect: Suspect) -> Values:
    """Return the levels that a suspect predicts at nominal part values: array, (point, frequency) [V rms].

    In decibels, as far between the table's two nearest severities as its own lies between theirs.

    Parameters
    ----------
    table : Table
    suspect : Suspect
        Of a `match` with that table.
    """
    levels = np.asarray(table.values("level")[:, 0])
    nearest = levels[table.faults.index(suspect.fault) + 1]
    mine = [
        (float(np.log(fault.severity)), number)
        for number, fault in enumerate(table.faults, 1)
        if (fault.part, fault.mode) == (suspect.fault.part, suspect.fault.mode) and fault.severity
    ]
    if not suspect.severity or len(mine) < 2:
        return np.asarray(nearest)
    at, rows = zip(*sorted(mine), strict=True)
    decibels = 20 * np.log10(np.maximum(levels[list(rows)], LEAST))
    place = float(np.clip(np.interp(np.log(suspect.severity), at, np.arange(len(at))), 0, len(at) - 1))
    low = min(int(place), len(at) - 2)
    found = 10 ** ((decibels[low] + (place - low) * (decibels[low + 1] - decibels[low])) / 20)
    return np.asarray(np.where(np.isfinite(found), found, nearest))
