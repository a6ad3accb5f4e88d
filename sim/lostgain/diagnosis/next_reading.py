"""The next reading: what to read or do next, so that the part at fault is found soonest.

A reading is worth the information it is expected to give about which part to lift (mutual information, in bits), given
all readings taken so far, and they are ranked by how much of it they give per minute. Moves such as lifting a leg or
bridging a capacitor are measured by the same yardstick. The first place goes to the reading with which, two readings
ahead, the part is expected to be found in the fewest minutes.

Another reading is worth taking until one part, or a set of parts that no reading left tells apart, holds 90 % of the
probability, or until no reading left would change what one would do. The figures are in ``moves.toml``.

References
----------
D. V. Lindley, "On a measure of the information provided by an experiment", Ann. Math. Statist. 27 (1956): the expected
information of an experiment, which is the mutual information used here. From memory, to be verified.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.actions import moves
from lostgain.diagnosis.belief import HEALTHY, Belief, belief
from lostgain.diagnosis.candidates import Candidate, candidates
from lostgain.diagnosis.equivalents import equivalents
from lostgain.diagnosis.expected import expected
from lostgain.diagnosis.foresight import soonest
from lostgain.diagnosis.foretold import foretold
from lostgain.diagnosis.information import Told, told
from lostgain.diagnosis.knowledge import Knowledge
from lostgain.diagnosis.model import Verdict
from lostgain.diagnosis.moves import facts
from lostgain.diagnosis.next_model import Move, Next, NextReading
from lostgain.diagnosis.off_candidates import off_candidates
from lostgain.diagnosis.other_candidates import other_candidates
from lostgain.faults import Rates, rates
from lostgain.readings import instruments
from lostgain.readings.model import LEVELS, OFF, Instrument, Readings
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: A channel with less than this of the probability is not read further, unless it is the good one.
CHANNEL = 0.02


def next_reading(
    table: Table,
    readings: Readings,
    verdict: Verdict | None = None,
    rate_set: str | Rates = "bench",
    knowledge: Knowledge | None = None,
    most: int = 8,
    others: bool = True,
    live: bool = True,
) -> Next:
    """Return what to read or do next.

    Parameters
    ----------
    table : Table
    readings : Readings
        May be without any reading: then the first one is asked for.
    verdict : Verdict or None
        What `match` said of these readings; a reading that it found to contradict the others is left out here too.
    rate_set : str or Rates
        Which failure rates to start from.
    knowledge : Knowledge or None
    most : int
        How many readings and moves to give, at most.
    others : bool
        Whether rail currents, mains watts and DC across parts can be read too.
    live : bool
        False for a unit that must not be switched on: only readings and moves with the power off.
    """
    chosen = rates(rate_set) if isinstance(rate_set, str) else rate_set
    odd = verdict.contradiction if verdict is not None else None
    unsure = {id(row) for row in verdict.doubted} if verdict is not None else set()
    rows = [row for row in readings.rows if row is not odd and id(row) not in unsure]
    believed = belief(table, rows, readings.good, chosen, knowledge)
    known = instruments(table.circuit.unit.folder)
    channels = _channels(table, believed, readings)
    wanted = candidates(table, readings, known, channels) if live else []
    wanted += other_candidates(table, readings, known, channels) if live and others else []
    wanted += off_candidates(table, readings, known, channels, believed)
    if wanted:
        mean, sigma = expected(table, believed, wanted, known)
        gain = told(believed.decision, believed.weight, mean, sigma)
    else:
        mean = sigma = np.zeros((len(believed.weight), 0))
        gain = Told(np.zeros(0), np.zeros(0), np.ones((0, len(believed.lifted))))
    found = [_reading(each, number, gain, known[each.reading.instrument]) for number, each in enumerate(wanted)]
    done = [each for each in moves(table, believed) if live or each.power == "off"]
    everything: list[NextReading | Move] = [*found, *done]
    ranked = sorted(everything, key=lambda each: -each.rate)[:most]
    stop, parts = _stop(believed, gain)
    if found and not stop:
        first = found[soonest(believed.decision, believed.weight, mean, sigma, wanted, gain.bits)]
        ranked = [first, *(each for each in ranked if each is not first)][:most]
    if found and not any(isinstance(each, NextReading) for each in ranked):
        ranked = [*ranked[:-1], max(found, key=lambda each: each.rate)]
    shown = [each if isinstance(each, Move) else foretold(each, found, wanted, believed, mean, sigma, table.circuit)
             for each in ranked]  # fmt: skip
    return Next(tuple(shown), stop, parts, _action(parts, done), equivalents(table, readings, believed, channels))


def _channels(table: Table, believed: Belief, readings: Readings) -> list[str]:
    """Where to read: channels that may hold the fault, and the good one."""
    share: dict[str, float] = {}
    for lifted, each in zip(believed.lifted, believed.of_decision(), strict=True):
        share[lifted[1]] = share.get(lifted[1], 0.0) + float(each)
    total = sum(share.values())
    names = [channel.name for channel in table.circuit.unit.channels]
    found = [name for name in names if share.get(name, 0.0) > CHANNEL * total]
    if not found:  # all is shared, or nothing is wrong: where the readings were taken
        found = [row.channel for row in readings.rows if row.channel not in ("", readings.good)][-1:] or names[:1]
    return found + [readings.good] * (readings.good != "" and readings.good not in found)


def _risk(quantity: str) -> str:
    if quantity in OFF:
        return facts().power_off.risk
    return facts().reading.current_risk if quantity == "current" else ""


def _reading(each: Candidate, number: int, gain: Told, instrument: Instrument) -> NextReading:
    one = each.reading
    return NextReading(
        point=one.point, quantity=one.quantity, channel=one.channel, frequency=one.frequency,
        instrument=one.instrument, given_as=one.given_as if one.quantity in LEVELS else "plain",
        floor=each.feature.floor if one.quantity in LEVELS else instrument.floor(one.quantity), minutes=each.minutes,
        information=float(gain.bits[number]), right=max(0.0, float(gain.right[number])),
        against=one.against, power="off" if one.quantity in OFF else "on", risk=_risk(one.quantity),
        largest=each.feature.most, generator=one.generator,
    )  # fmt: skip


def _stop(believed: Belief, gain: Told) -> tuple[str, tuple[tuple[str, str, float], ...]]:
    """Return why no further reading is worth taking, empty if one is, and the parts it has come down to."""
    rule = facts().stop
    share = believed.of_decision()
    order = [int(each) for each in np.argsort(-share, kind="stable")]
    best = order[0]
    least = gain.alike.min(axis=0) if len(gain.alike) else np.ones(len(share))
    alike = [each for each in order if believed.lifted[each] != HEALTHY and (each == best or least[each] >= rule.alike)]
    idle = not len(gain.bits) or bool(np.all((gain.bits < rule.idle_bits) & (gain.right < rule.idle_right)))
    well = believed.lifted[best] == HEALTHY
    if well and (share[best] >= rule.sure or (idle and share[best] > believed.unexplained)):
        return "healthy", ()
    if believed.unexplained >= 0.5:
        return ("unexplained" if idle or believed.unexplained >= rule.sure else ""), _parts(believed, share, order)
    if not well and share[best] >= rule.sure:
        return "sure", _parts(believed, share, [best])
    if not well and share[alike].sum() >= rule.sure:
        return "alike", _parts(believed, share, alike)
    if idle:
        return "idle", _parts(believed, share, [each for each in order if share[each] > 0.02])
    return "", _parts(believed, share, order[:4])


def _parts(believed: Belief, share: Values, order: Sequence[int]) -> tuple[tuple[str, str, float], ...]:
    return tuple(
        (*believed.lifted[each], float(share[each])) for each in order
        if believed.lifted[each] != HEALTHY and share[each] > 0.005
    )  # fmt: skip


#: Moves that decide about a part by themselves.
_DECIDE = ("lift", "take-out", "swap", "swap-valve", "winding", "ohm-contact", "rail")


def _action(parts: Sequence[tuple[str, str, float]], done: Sequence[Move]) -> Move | None:
    """What to do about the parts it has come down to: the move about the most probable that decides most a minute."""
    for name, channel, _ in parts:
        own = [each for each in done if (each.part, each.channel) == (name, channel)]
        whole = [each for each in own if each.name in _DECIDE]
        if whole:
            return max(whole, key=lambda each: each.rate)
    return None
