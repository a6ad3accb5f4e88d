"""Figures of what it takes to isolate a fault, each with its 95 % interval."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchmarks import figures
from benchmarks.figures import Figure
from benchmarks.isolate import Isolated

Values = NDArray[np.float64]

#: What the figures mean, kept with them.
MEANS = (
    "Isolated: the stop rule of `lostgain next` holds, whether or not the part then named is the right one. "
    "Readings and minutes are those after the first reading (level at the output, middle frequency), over all cases "
    "followed; right_when_isolated is the share in which the first part named is the one that failed. "
    "A walk given up after 30 readings counts with the minutes it took. Fewest minutes possible: expected "
    "minutes in the signature table's own world, cut into cells, on a unit small enough to search completely."
)


def isolated(cases: Sequence[Mapping[str, Isolated]]) -> dict[str, object]:
    """Return the figures of cases that were followed by every policy.

    Parameters
    ----------
    cases : sequence of mapping
        Policy to where it stopped; empty where a case could not be followed.
    """
    done = [case for case in cases if case]
    if not done:
        return {}
    of = {policy: [case[policy] for case in done] for policy in done[0]}
    minutes = {policy: np.array([each.minutes for each in walks]) for policy, walks in of.items()}
    return {
        "readings_to_isolate": {policy: mean([each.readings for each in walks]) for policy, walks in of.items()},
        "minutes_to_isolate": {policy: mean(values) for policy, values in minutes.items()},
        "right_when_isolated": {policy: figures.share([each.right for each in walks]) for policy, walks in of.items()},
        "stopped_by": {policy: dict(Counter(each.stop for each in walks)) for policy, walks in of.items()},
        "minutes_ratio": {f"next/{policy}": figures.ratio(minutes["next"], values)
                          for policy, values in minutes.items() if policy != "next"},
        "isolated_means": MEANS,
    }  # fmt: skip


def beside_optimum(cases: Sequence[Mapping[str, tuple[float, float, float]]]) -> dict[str, object]:
    """Return expected minutes, readings and share right of each policy, and minutes over those of the optimum."""
    done = [case for case in cases if case]
    if not done:
        return {}
    values = {policy: np.array([case[policy] for case in done]) for policy in done[0]}
    best = values["optimal"][:, 0]
    names = ("minutes", "readings", "right")
    return {
        **{name: {policy: mean(each[:, column]) for policy, each in values.items()}
           for column, name in enumerate(names)},
        "minutes_ratio": {f"{policy}/optimal": figures.ratio(each[:, 0], best)
                          for policy, each in values.items() if policy != "optimal"},
    }  # fmt: skip


def mean(values: Sequence[float] | Values) -> Figure:
    """Return a mean over cases with its bootstrap interval."""
    numbers = np.asarray(values, dtype=float)
    return figures.resampled(lambda at: float(numbers[at].mean()), len(numbers))
