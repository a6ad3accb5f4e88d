"""What readings in ranges are expected to tell, and whether another is worth taking: the rule of ``lostgain next``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lostgain.diagnosis.information import NONE
from lostgain.diagnosis.moves import facts
from lostgain.teach.outlook import Outlook, Values, Whole

#: Units drawn of the most probable part, and of all others, that are compared with each other: the most probable ones.
HEAVIEST = 200


@dataclass(frozen=True)
class Telling:
    """What the readings left are expected to tell.

    Parameters
    ----------
    left : list of int
        The readings.
    bits : array, (reading,)
        Expected information about what to do.
    ends : str
        Why no further reading is worth taking; empty if one is.
    """

    left: list[int]
    bits: Values
    ends: str


def telling(outlook: Outlook, weight: Values, left: Sequence[int]) -> Telling:
    """Return what readings are expected to tell.

    Parameters
    ----------
    outlook : Outlook
    weight : array, (unit,)
        Of the units drawn; need not add up to one.
    left : sequence of int
        Readings that can still be taken.
    """
    held = np.flatnonzero(weight > 1e-9 * weight.sum())
    share = weight[held] / weight[held].sum()
    decision, places = np.unique(outlook.decision[held], return_inverse=True)
    order = np.argsort(places, kind="stable")
    starts = np.searchsorted(places[order], np.arange(len(decision)))
    chance = outlook.chance[held[order]][:, list(left)] * share[order, None, None]
    joint = np.add.reduceat(chance, starts, axis=0)  # (decision, reading, range)
    prior = np.asarray(np.bincount(places, share), dtype=float)
    shown = joint.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = joint / (prior[:, None, None] * shown[None])
        bits = np.maximum(0.0, np.where(joint > NONE, joint * np.log2(ratio), 0.0).sum(axis=(0, 2)))
    right = joint.max(axis=0).sum(axis=1) - prior.max()
    ends = _ends(outlook, decision, prior, joint, bits, right)
    if ends == "alike" and _parted(outlook, held, share, places, left):
        ends = ""
    return Telling(list(left), bits, ends)


def _parted(outlook: Outlook, held: Whole, share: Values, places: Whole, left: Sequence[int]) -> bool:
    """Tell whether several readings together tell the most probable part from others, where no single one does.

    An output stuck at one rail or at the other shows both signs at every point in turn: two such parts look alike in
    any one reading, and differ in which signs come together.
    """
    best = int(np.bincount(places, share).argmax())
    heavy = np.argsort(-share, kind="stable")
    mine, others = heavy[places[heavy] == best][:HEAVIEST], heavy[places[heavy] != best][:HEAVIEST]
    root = np.sqrt(outlook.chance[held][:, list(left)])
    overlap = np.ones((len(mine), len(others)))
    for number in range(len(left)):
        overlap *= root[mine, number] @ root[others, number].T
    # Share of the units on each side that have a like one on the other.
    like = [float(side.max(axis=1) @ share[rows] / share[rows].sum())
            for side, rows in ((overlap, mine), (overlap.T, others))]  # fmt: skip
    return min(like) < facts().stop.alike


def _ends(outlook: Outlook, decision: Whole, prior: Values, joint: Values, bits: Values, right: Values) -> str:
    """Return why no further reading is worth taking; the same rule as `lostgain.diagnosis.next_reading`."""
    rule = facts().stop
    best = int(prior.argmax())
    well = int(decision[best]) == outlook.healthy
    if prior[best] >= rule.sure:
        return "healthy" if well else "sure"
    given = np.sqrt(joint / prior[:, None, None])
    alike = (given * given[best]).sum(axis=2).min(axis=1) >= rule.alike
    alike &= decision != outlook.healthy
    alike[best] = True
    if not well and prior[alike].sum() >= rule.sure:
        return "alike"
    if bool(np.all((bits < rule.idle_bits) & (right < rule.idle_right))):
        return "healthy" if well else "idle"
    return ""
