"""What speaks for and against a suspect: each reading beside its prediction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.features import unscaled
from lostgain.diagnosis.hypotheses import Hypotheses
from lostgain.diagnosis.model import Evidence
from lostgain.diagnosis.observed import Observed

Values = NDArray[np.float64]

#: Standard deviations either side that hold 90 % of a normal distribution.
NINETY = 1.645


def evidence(seen: Observed, found: Hypotheses, mean: Values, cov: Values, channel: str) -> tuple[Evidence, ...]:
    """Return the numeric readings of the suspected channel beside what a hypothesis predicts.

    Parameters
    ----------
    seen : Observed
    found : Hypotheses
    mean, cov : arrays, (latent,), (latent, latent)
        The hypothesis's prediction.
    channel : str
        The suspected channel.
    """
    columns = np.array([feature for _, feature in seen.latent], dtype=int)
    well_mean = found.mean[0, columns]
    well_cov = found.cov[0][np.ix_(columns, columns)] + seen.common
    rows = []
    for number, reading in enumerate(seen.readings):
        pick = seen.operator[number]
        at = int(np.argmax(np.abs(pick)))
        if seen.latent[at][0] != channel:
            continue
        feature = seen.features[seen.latent[at][1]]
        middle, sigma = float(mean[at]), float(np.sqrt(cov[at, at] + seen.noise[number, number]))
        off, own = _off(seen.value[number], pick, mean, cov, seen.noise[number, number])
        well_off, well = _off(seen.value[number], pick, well_mean, well_cov, seen.noise[number, number])
        weight = -0.5 * (off**2 - well_off**2) - np.log(own / well)
        centre, low, high = (unscaled(middle + shift * sigma, feature) for shift in (0, -NINETY, NINETY))
        rows.append(Evidence(reading, centre, low, high, float(weight), float(off)))
    return tuple(rows)


def _off(value: float, pick: Values, mean: Values, cov: Values, noise: float) -> tuple[float, float]:
    sigma = float(np.sqrt(pick @ cov @ pick + noise))
    return float((value - pick @ mean) / sigma), sigma
