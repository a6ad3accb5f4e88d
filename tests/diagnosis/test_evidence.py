"""What speaks for and against a suspect, beside scipy's normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from lostgain.diagnosis.evidence import evidence
from lostgain.diagnosis.features import scaled
from lostgain.diagnosis.posterior import weigh
from lostgain.faults import rates
from tests.diagnosis.megaphone import megaphone, row_of, taken


def test_each_reading_speaks_by_its_density_and_shows_what_nine_in_ten_would_read() -> None:
    table = megaphone()
    rows = [each for each in taken("C3 open") if each.value is not None]
    posterior = weigh(table, rows, "", rates("bench"))
    case = next(each for each in posterior.cases if each.channel == "Port")
    which = [int(np.flatnonzero(case.found.row == row_of(label))[0]) for label in ("C3 open", "R2 open")]
    for index, told in zip(which, evidence(table, posterior, case, which, case.covs(which)), strict=True):
        mean, spread = case.predicted(index)
        well_mean, well_spread = case.predicted(0)
        assert len(told) == len(rows)
        for number, one in enumerate(told):
            beside = norm(mean[number], np.sqrt(spread[number, number]))
            healthy = norm(well_mean[number], np.sqrt(well_spread[number, number]))
            value, about = posterior.seen.value[number], posterior.seen.about[number]
            assert one.weight == pytest.approx(beside.logpdf(value) - healthy.logpdf(value))
            nothing = scaled(0.0, about) if about.is_level else -np.inf  # no level lies below that
            ends = np.maximum(beside.interval(0.9), nothing)
            assert (scaled(one.low, about), scaled(one.high, about)) == pytest.approx(tuple(ends), abs=0.02)
