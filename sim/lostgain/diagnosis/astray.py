"""Readings that a model gets wrong although the fault is right.

Far from healthy a generic model is mostly right and sometimes quite wrong: what leaks through a dead stage, which way a
circuit latches. A fault is not given up for that. Each of its predictions that lies away from healthy may be astray, at
a price: how rarely that happens, and how little is then known of the reading.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import Allowances
from lostgain.diagnosis.features import Feature

Values = NDArray[np.float64]

#: Of a fault's predictions, no more than this share may be astray.
MOST = 0.1
#: A second one at the same place is as likely to be astray as not.
AGAIN = 0.5


def prices(allow: Allowances, features: Sequence[Feature]) -> tuple[Values, Values, NDArray[np.int_]]:
    """Return log prices, arrays, (reading,): of a prediction astray and of another at its place; and the places.

    Parameters
    ----------
    allow : Allowances
    features : sequence of Feature
        What each reading is about.
    """
    level = np.array([each.is_level for each in features], dtype=bool)
    range_ = np.log(np.where(level, allow.prior_broad_db, allow.prior_broad_dc) * np.sqrt(2 * np.pi))
    keys: list[tuple[object, ...]] = [
        (each.point, each.against) if each.is_level else (each.lead, each.other) if each.is_off else ("dc",)
        for each in features
    ]
    order = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    place = np.array([order[key] for key in keys], dtype=int)
    return np.log(allow.model_astray) - range_, np.log(AGAIN) - range_, place


def with_some_astray(
    log: Values, value: Values, middle: Values, spread: Values, may: NDArray[np.bool_],
    price: tuple[Values, Values, NDArray[np.int_]],
) -> Values:  # fmt: skip
    """Return the log densities of readings of which some may be astray: array, (hypothesis,).

    One reading after the other is taken out, the one that gains most first, while that gains anything.

    Parameters
    ----------
    log : array, (hypothesis,)
        With none astray.
    value : array, (reading,)
    middle : array, (hypothesis, reading)
    spread : array, (hypothesis, reading, reading)
    may : array of bool, (hypothesis, reading)
        Which may be.
    price : tuple
        From `prices`.
    """
    first, again, place = price
    log = log.copy()
    alive = np.flatnonzero(may.any(axis=1))
    inverse = np.linalg.inv(spread[alive])
    pull = (inverse @ (value - middle[alive])[..., None])[..., 0]
    may = may[alive].copy()
    cost = np.broadcast_to(first, may.shape).copy()
    for _ in range(int(MOST * len(value))):
        own = np.maximum(np.diagonal(inverse, axis1=1, axis2=2), 1e-12)
        without = -0.5 * (pull**2 / own + np.log(2 * np.pi / own))
        gain = np.where(may, cost - without, -np.inf)
        worst = gain.argmax(axis=1)
        at = np.arange(len(alive))
        more = np.flatnonzero(gain[at, worst] > 0)
        if not len(more):
            break
        log[alive[more]] += gain[more, worst[more]]
        alive, may, cost, worst = alive[more], may[more], cost[more], worst[more]
        inverse, pull = inverse[more], pull[more]
        at = np.arange(len(alive))
        column = inverse[at, :, worst]
        top = column[at, worst]
        pull = pull - column * (pull[at, worst] / top)[:, None]
        inverse = inverse - column[:, :, None] * column[:, None, :] / top[:, None, None]
        may[at, worst] = False
        cost = np.where(place[None, :] == place[worst][:, None], again, cost)
    return log
