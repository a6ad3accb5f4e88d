"""Slow capacitors that charge until no current flows into them on average, found without waiting for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.engine import RunFailed
from lostgain.signatures.cycle import decibels
from lostgain.signatures.follow import FAR, SETTLED_DB, Follow
from lostgain.signatures.states import Cycle, Slopes

Values = NDArray[np.float64]

#: Where a drift changes a level by more than this [dB], circuits much like this one have to drift by themselves.
DRIFT_DB = 1.0
#: A drift that changes no level by more than this [dB] within so many rounds is left alone.
SAME_DB, LOOKED = 0.3, 8
#: A slope is the change of currents with so many volts; a voltage lasts if this share of them is left when the cycle
#: begins.
PROBE, LASTS = 20e-3, 0.5
#: Steps at most; volts that the first may go, any of them, and the shortest that is worth it; seconds that one stands
#: for at most.
STEPS, REACH, FARTHEST, SHORTEST, LONGEST = 24, 2.0, 8.0, 1e-3, 10.0
#: Over when two steps in turn would go no further than this [V] and change no level by more than this [dB].
CALM_VOLTS, CALM_DB = 0.1, 0.1
#: A step is taken back if currents grow by this factor, unless levels hardly change [dB]: then they are noise. After so
#: many steps that slopes foretold badly, they are measured anew.
WORSE, ALIKE_DB, AGAIN = 2.0, 0.3, 3

#: All that the answer depends on besides the circuit: a table with others is another table.
DRIFT_SETTINGS = (DRIFT_DB, SAME_DB, LOOKED, PROBE, LASTS, STEPS, REACH, FARTHEST, SHORTEST, LONGEST, CALM_VOLTS,
                  CALM_DB, WORSE, ALIKE_DB, AGAIN)  # fmt: skip


@dataclass(frozen=True)
class Drift:
    """What a drift came to.

    Parameters
    ----------
    moved : float
        The most that a level changed [dB].
    over : bool
        Whether it was followed to its end, or there is none.
    slopes : Slopes or None
        For circuits much like this one; None where nothing drifted.
    """

    moved: float
    over: bool = True
    slopes: Slopes | None = None


def drift(follow: Follow, slopes: Slopes | None = None) -> Drift:
    """Find where slow capacitors charge to, and leave the circuit there.

    Parameters
    ----------
    follow : Follow
        A circuit that was followed for some cycles.
    slopes : Slopes or None
        `Drift.slopes` of a circuit much like this one at the same frequency, which did drift.

    Notes
    -----
    Half an output stage on a single supply charges its output capacitor for two seconds: thousands of cycles, of which
    one changes less than ngspice's own error. What a cycle carries into each capacitor does not depend on how large it
    is while its voltage changes little within the cycle. So the currents are measured in a circuit with smaller
    capacitors, and the voltages at which they are zero are found by Newton's method, in steps as long as the circuit
    itself would go in some time [1]_; slopes are measured once and put right by each step [2]_.

    References
    ----------
    .. [1] Kelley and Keyes, "Convergence analysis of pseudo-transient continuation", SIAM J. Numerical Analysis 35
       (1998) 508-523.
    .. [2] Broyden, "A class of methods for solving nonlinear simultaneous equations", Mathematics of Computation 19
       (1965) 577-593.
    """
    light = follow.lighter() if follow.can_start and not follow.restless else None
    if light is None:
        return Drift(0.0)
    if slopes is not None and len(slopes.lasting) != len(light.farads):
        slopes = None  # a capacitor near `SLOW_FARADS` that is slow in one of them and not in the other
    before = follow.level()
    try:
        state, volts = follow.ended()
        if slopes is None:
            light.again(state, volts)
            if not _drifts(light):
                return Drift(0.0)
            state, volts = light.ended()
        found = _balanced(light, state, volts, slopes)
        # Within a cycle, a smaller capacitor's voltage goes further from its mean.
        mean = found.here.mean
        follow.again(found.here.state, mean + (found.volts - mean) / light.times)
    except (RunFailed, np.linalg.LinAlgError):
        if follow.session.dead:
            raise
        return Drift(0.0, over=False)
    return Drift(_apart(follow.level(), before), found.over, found.slopes)


def _drifts(light: Follow) -> bool:
    """Tell whether a circuit's levels move on, until they stay."""
    first = before = light.level()
    for _ in range(LOOKED):
        light.on(FAR)
        now = light.level()
        if _apart(now, first) >= SAME_DB:
            return True
        if light.change() < SETTLED_DB and _apart(now, before) < SETTLED_DB:
            break
        before = now
    return False


@dataclass
class _Balance:
    """Voltages at which slow capacitors start a cycle, and what it does to them."""

    volts: Values
    here: Cycle
    slopes: Slopes
    over: bool = False


def _balanced(light: Follow, state: Values, volts: Values, slopes: Slopes | None) -> _Balance:
    """Step to voltages at which no current flows into slow capacitors on average."""
    here = light.one(state, volts)
    found = _Balance(volts, here, slopes or _measured(light, here, volts))
    reach, badly, calm = REACH, 0, 0
    for _ in range(STEPS):
        lasting, siemens = found.slopes.lasting, found.slopes.siemens
        farads, currents = light.farads[lasting], found.here.currents[lasting]
        step, whole = _step(farads, siemens, currents, reach)
        volts = light.charged(found.here.state)
        volts[lasting] = found.volts[lasting] + step
        there = light.one(found.here.state, volts)
        change = there.currents[lasting] - currents
        was, now, missed = (_size(farads, each) for each in (currents, currents + change, change - siemens @ step))
        changed = _apart(there.level, found.here.level)
        found.slopes = Slopes(lasting, _put_right(farads, siemens, step, change))
        badly += missed > was and changed > ALIKE_DB
        if now > WORSE * was and changed > ALIKE_DB:
            reach = float(np.abs(step).max()) / 4
            if reach < SHORTEST:
                found.over = whole < CALM_VOLTS
                break
        else:
            found.volts, found.here = volts, there
            if missed < was / 2:
                reach = min(2 * reach, FARTHEST)
            elif missed > was:
                reach /= 2
            calm = calm + 1 if whole < CALM_VOLTS and changed < CALM_DB else 0
            if calm == 2:
                found.over = True
                break
        if badly == AGAIN:
            found.slopes, badly = _measured(light, found.here, found.volts), 0
    return found


def _step(farads: Values, siemens: Values, currents: Values, reach: float) -> tuple[Values, float]:
    """Return where the circuit would go in the longest time that leads no further than `reach`, and how far it would
    go in the longest of all [V].
    """
    seconds = LONGEST
    step = np.linalg.solve(np.diag(farads) / seconds - siemens, currents)
    whole = float(np.abs(step).max(initial=0.0))
    while np.abs(step).max(initial=0.0) > reach:
        seconds /= 2
        step = np.linalg.solve(np.diag(farads) / seconds - siemens, currents)
    return np.asarray(step), whole


def _measured(light: Follow, here: Cycle, volts: Values) -> Slopes:
    """Find the slopes at some voltages, one after the other."""
    probed = [light.one(here.state, volts + each) for each in PROBE * np.eye(len(volts))]
    kept = np.array([each.early[number] - here.early[number] for number, each in enumerate(probed)])
    lasting = kept > LASTS * PROBE
    siemens = np.array([each.currents - here.currents for each in probed]).T / PROBE
    return Slopes(lasting, siemens[np.ix_(lasting, lasting)])


def _put_right(farads: Values, siemens: Values, step: Values, change: Values) -> Values:
    """Return slopes that would have foretold what a step did to the currents (Broyden's)."""
    weighted = farads * step
    length = float(step @ weighted)
    return siemens + np.outer(change - siemens @ step, weighted) / length if length else siemens


def _size(farads: Values, currents: Values) -> float:
    return float(np.linalg.norm(currents / np.sqrt(farads)))


def _apart(one: Values, other: Values) -> float:
    return float(np.abs(decibels(one, other)).max(initial=0.0))
