"""A reading that contradicts all the others: found, and what it would have to be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.doubts import POOR
from lostgain.diagnosis.knowledge import Knowledge
from lostgain.diagnosis.likelihood import gaussian, others_likelihood, rough_without_each
from lostgain.diagnosis.makers import LOOSE
from lostgain.diagnosis.observed import Observed
from lostgain.diagnosis.posterior import Posterior, weigh
from lostgain.faults import Rates
from lostgain.quantities import PP_PER_RMS, show, show_level
from lostgain.readings import Readings
from lostgain.readings.model import COMMON, LEVELS, UNITS, Reading
from lostgain.readings.taken import placed, what
from lostgain.signatures import Table

#: Below this probability of "unexplained" nothing contradicts anything.
SUSPICIOUS = 0.2
#: One reading in so many is wrong by a slip of the pen or of the probe (common practice, no source).
SLIP = 0.01
#: With fewer readings than this, none can be said to contradict the rest.
ENOUGH = 4

#: Leads exchanged at a DC are looked for even where some fault explains it: what has its opposite within so many
#: standard deviations of the healthy unit's, and is itself further off than so many. Of slips, this share (common
#: practice, no source).
OPPOSITE, AWAY, EXCHANGED = 3.0, 6.0, 0.2

#: So many readings are left out for a trial, those first that a rough look finds.
TRIED = 4


def _noted(small: str, large: str) -> tuple[tuple[float, str], ...]:
    return (1000.0, f"{small} noted as {large}"), (0.001, f"{large} noted as {small}")


_SIGN = (-1.0, "the sign, or the leads exchanged")
_DIGITS = (10.0, "a digit too many"), (0.1, "a digit too few")
#: What may have happened to a level, as a factor from what it is to what was noted.
LEVEL_SLIPS = (
    (PP_PER_RMS, "peak to peak was noted as rms"),
    (1 / PP_PER_RMS, "rms was noted as peak to peak"),
    (10.0, "the ×10 probe's factor counted twice, or a digit too many"),
    (0.1, "a ×10 probe read as ×1, or a digit too few"),
    *_noted("mV", "V"),
)
#: The same of every quantity.
SLIPS = {
    "level": LEVEL_SLIPS,
    COMMON: LEVEL_SLIPS,
    "dc": (_SIGN, *_DIGITS, *_noted("mV", "V")),
    "current": (*_DIGITS, *_noted("mA", "A")),
    "mains watts": _DIGITS,
    "resistance": (*_DIGITS, *_noted("ohms", "kilohms")),
    "esr": (*_DIGITS, *_noted("milliohms", "ohms")),
    "diode test": (*_DIGITS, *_noted("mV", "V")),
}


@dataclass(frozen=True)
class Contradiction:
    """A reading that does not go with the rest.

    Parameters
    ----------
    reading : Reading
    says : str
        For people: which one, and what it would have to be.
    without : Posterior
        The probabilities without it.
    by_slip : bool
        Whether a slip with a factor or a sign explains it. A wrong pin explains much, and so do two failures at once.
    """

    reading: Reading
    says: str
    without: Posterior
    by_slip: bool


def contradiction(
    table: Table, readings: Readings, rates: Rates, knowledge: Knowledge | None, whole: Posterior
) -> Contradiction | None:
    """Return the reading that contradicts the others, or None.

    A reading contradicts the others if they agree with some hypothesis so much better without it that a slip, rare as
    it is, is the likelier explanation. Where some fault explains all readings, a single odd one is what shows it, and
    no slip; but a DC that is just the healthy unit's with the other sign is hardly ever a fault's doing.

    Parameters
    ----------
    table : Table
    readings : Readings
    rates : Rates
    knowledge : Knowledge or None
    whole : Posterior
        With all readings.
    """
    rows = list(readings.rows)
    if len(whole.seen.readings) < ENOUGH:
        return None
    explained = whole.unexplained < SUSPICIOUS and whole.fit() > POOR
    best: tuple[float, Reading, Posterior] | None = None
    for reading in _exchanged(whole) if explained else _candidates(table, whole):
        rest = [row for row in rows if row is not reading]
        without = weigh(table, rest, readings.good, rates, knowledge, as_described=True)
        if explained:
            other = [_opposite(row) if row is reading else row for row in rows]
            opposite = weigh(table, other, readings.good, rates, knowledge, as_described=True)
            gain = opposite.evidence + np.log(SLIP * EXCHANGED) - whole.evidence
        else:
            gain = without.evidence + np.log(SLIP) + _anything(whole.seen, reading) - whole.evidence
        # Without a slip, it is enough that the rest goes with a description that is only about right.
        fits = max(without.fit(), without.fit(LOOSE)) > POOR
        if without.unexplained < SUSPICIOUS and fits and gain > 0 and (best is None or gain > best[0]):
            best = (float(gain), reading, without)
    if best is None:
        return None
    _, reading, without = best
    says, by_slip = _says(table, readings, rates, knowledge, reading, without)
    return Contradiction(reading, says, without, by_slip)


def _exchanged(whole: Posterior) -> list[Reading]:
    """Return DC readings whose opposite is what the healthy unit has, and which are not."""
    seen = whole.seen
    mean, spread = whole.cases[0].predicted(0)
    sigma = np.sqrt(np.diag(spread))
    opposite, off = (np.abs(value - mean) / sigma for value in (-seen.value, seen.value))
    plain = np.count_nonzero(seen.operator, axis=1) == 1  # and not compared with the good channel's
    fit = plain & (opposite < OPPOSITE) & (off > AWAY)
    return [each for number, each in enumerate(seen.readings) if fit[number] and each.quantity == "dc"][:TRIED]


def _opposite(reading: Reading) -> Reading:
    assert reading.value is not None  # what is compared as a number has one
    return replace(reading, value=-reading.value)


def _candidates(table: Table, whole: Posterior) -> list[Reading]:
    """Return the readings without which the others look most as if they could agree."""
    seen, logs = whole.seen, []
    for case in whole.cases:
        others = others_likelihood(table, whole.found, seen, case.channel)
        with np.errstate(divide="ignore"):
            prior = np.log(case.prior) + others
        if case is whole.cases[0]:  # the first hypothesis is the healthy unit, once for all channels
            prior[0] = np.log(allowances().prior_healthy) + others[0]
        logs.append(rough_without_each(whole.found, seen, case.channel) + prior[:, None])
    evidence = logsumexp(np.concatenate(logs), axis=0)
    gain = evidence + [_anything(seen, reading) for reading in seen.readings]
    return [seen.readings[int(number)] for number in np.argsort(-gain, kind="stable")[:TRIED]]


def _anything(seen: Observed, reading: Reading) -> float:
    """Log density of a reading that may be anything within a broad range."""
    number = next(index for index, each in enumerate(seen.readings) if each is reading)
    at = int(np.argmax(np.abs(seen.operator[number])))
    allow = allowances()
    width = allow.prior_broad_db if seen.features[seen.latent[at][1]].is_level else allow.prior_broad_dc
    return float(gaussian(np.zeros(1), np.zeros((1, 1)), np.array([[[width**2]]]))[0])


def _says(
    table: Table, readings: Readings, rates: Rates, knowledge: Knowledge | None, reading: Reading, without: Posterior
) -> tuple[str, bool]:
    """Say which reading it is and what it would have to be, and tell whether that is a slip with a factor or a sign."""
    start = (
        f"{placed(reading, table.circuit.unit)}, {reading.text}: contradicts all the other readings and was left out."
    )
    tried = []
    for other, said in _alternatives(table, readings, reading):
        rows = [other if row is reading else row for row in readings.rows]
        evidence = weigh(table, rows, readings.good, rates, knowledge, as_described=True).evidence
        tried.append((evidence, said, other.point == reading.point))
    if not tried:
        return start, False
    evidence, said, by_slip = max(tried, key=lambda each: each[0])
    # It would fit if it then is about as likely as a reading that agrees usually is.
    if evidence > without.evidence - 3.0:
        return f"{start} It would fit as {said}.", by_slip
    return f"{start} Take it again.", False


def _alternatives(table: Table, readings: Readings, reading: Reading) -> Iterator[tuple[Reading, str]]:
    """Yield what the reading may have been, and how that is said."""
    taken = {what(row) for row in readings.rows}
    if reading.value is not None and not reading.word:
        for factor, slip in SLIPS.get(reading.quantity, ()):
            value = reading.value / factor
            shown = show_level(value) if reading.quantity in LEVELS else show(value, UNITS[reading.quantity])
            yield replace(reading, value=value), f"{shown} ({slip})"
    within = {point.name for point in table.circuit.unit.points if point.reach}
    for name in table.points if reading.quantity in ("level", "dc") else ():
        if name in within and what(moved := replace(reading, point=name)) not in taken:
            yield moved, f"a reading at {placed(moved, table.circuit.unit)}, the wrong pin"
