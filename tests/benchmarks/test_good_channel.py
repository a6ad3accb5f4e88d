"""A good channel beside the faulty one: what the two share, and what is each one's own."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.cases import Case, make, sheet
from benchmarks.good_channel import SHARE, both, chosen, good_of
from benchmarks.simulate import Carried
from benchmarks.truth import Prior
from lostgain.circuit import build
from lostgain.unit import open_unit


@pytest.fixture(scope="module")
def prior() -> Prior:
    return Prior(build(open_unit("ferry-terminal")))


def carrying(case: Case, volts: float) -> Case:
    """Stand in for a simulation: the same level everywhere."""
    size = len(case.job.nodes), len(case.job.frequencies)
    level = np.full(size, volts)
    case.carried = Carried(np.zeros(size[0]), level, level, level * 8**0.5, np.ones(size[1], dtype=bool))
    return case


def test_good_channel_shares_the_generator_and_not_the_tolerances(prior: Prior) -> None:
    case = make(prior, "fault", (1, 5))
    good = good_of(prior, case)
    assert good.job.drive == case.job.drive
    assert good.truth.kind == "healthy"
    assert good.job.lines != case.job.lines
    models = [{line.split()[1].rsplit("_", 1)[0] for line in job.lines if line.startswith(".model")}
              for job in (case.job, good.job)]  # fmt: skip
    assert models[0] == models[1]
    assert good.job == good_of(prior, case).job, "the same again"


def test_faulty_channel_reads_as_it_does_alone(prior: Prior) -> None:
    case = carrying(make(prior, "fault", (1, 5)), 0.1)
    alone = sheet(prior.circuit, case)
    together = both(prior.circuit, case, carrying(good_of(prior, case), 0.2))
    names = [channel.name for channel in prior.circuit.unit.channels]
    assert together.good == names[1]
    assert [row for row in together.rows if row.channel == names[0]] == list(alone.rows)
    beside = [row for row in together.rows if row.channel == names[1]]
    assert [(row.point, row.quantity, row.frequency) for row in beside] == [
        (row.point, row.quantity, row.frequency) for row in alone.rows
    ]
    level = np.mean([row.value for row in beside if row.quantity == "level"])
    assert level == pytest.approx(0.2, rel=0.1)


def test_only_faults_of_one_channel_get_one(prior: Prior) -> None:
    cases = [carrying(make(prior, kind, (1, number)), 0.1) for kind in ("fault", "healthy") for number in range(60)]
    found = chosen(prior.circuit, cases)
    assert len(found) == round(SHARE * 60)
    assert not any(case.truth.fault is None or case.truth.fault.shared for case in found)
    alone = build(open_unit("state-variable-filter"))
    assert chosen(alone, cases) == [], "a unit of one channel has no good one"
