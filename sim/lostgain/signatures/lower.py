"""A lower level of the generator: rows that are linear at a higher one are known without a simulation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lostgain.circuit import Circuit
from lostgain.signatures.cycle import QUIET
from lostgain.signatures.row import RowResult
from lostgain.signatures.row_keep import largest

#: As equal as numbers that were computed by the same formula are.
EQUAL = 1e-9


def lowered(result: RowResult, higher: Circuit, lower: Circuit) -> RowResult | None:
    """Return a row at a lower level of the generator.

    Parameters
    ----------
    result : RowResult
        At the higher level.
    higher, lower : Circuit
        The same but for the generator's level and for frequencies: the lower one's are the first of the higher one's.

    Returns
    -------
    RowResult or None
        None where the lower level has to be simulated: it is not lower, or something clips at the higher one.

    Notes
    -----
    Small-signal analysis is the limit of small levels. Where a transient at the higher level agrees with it at every
    point, every level between them does too, and all levels go by the generator's.
    """
    share = lower.unit.setup.generator / higher.unit.setup.generator
    many = len(lower.unit.setup.frequencies)
    if not 0 < share < 1 or not _linear(result, many, higher):
        return None
    return replace(
        result,
        level=share * result.level[:, :, :many],
        swing=share * result.swing[:, :, :many],
        phasor=share * result.phasor[:, :, :many],
        wave=share * result.wave[:, :many],
        small_signal=result.small_signal[:many],
        settled=result.settled[:many],
        common=result.common if lower.unit.setup.common else share * result.common,
    )


def _linear(result: RowResult, many: int, circuit: Circuit) -> bool:
    """Tell whether small-signal analysis serves for nominal values and all draws, at the first frequencies."""
    if result.status != "ok" or not (result.small_signal & result.settled)[:many].all():
        return False
    if np.any(result.common >= largest(circuit)):
        return False
    level, phasor = result.level[:, :, :many], np.abs(result.phasor[:, :, :many])
    # Draws that were followed in time have a shape of their own; the others have that of nominal values.
    alike = np.isclose(level * phasor[:1], phasor * level[:1], rtol=EQUAL, atol=0.0, equal_nan=True)
    return bool(np.all(alike | (level[:1] <= QUIET) | (phasor[:1] <= QUIET)))
