"""What the references learn from: as many circuits of each mode as asked for, fewer where one takes a minute."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pytest

from benchmarks import training
from benchmarks.cases import Case
from benchmarks.simulate import nothing
from benchmarks.truth import Prior
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.unit import open_unit

EACH = 8


@pytest.fixture
def prior() -> Prior:
    return Prior(build(open_unit("state-variable-filter")))


def circuits(
    prior: Prior, monkeypatch: pytest.MonkeyPatch, slow: str, status: str = "ok"
) -> tuple[Counter[str], list[Case]]:
    """How many circuits there are of each part and mode if one part's faults drift; nothing is simulated."""
    made: list[Case] = []

    def simulated(cases: Sequence[Case], _: Circuit, pool: Pool, progress: training.Progress | None = None) -> None:
        for case in cases:
            case.carried = found = nothing(case.job)
            found.dc[:], found.small[:], found.level[:], found.swing[:] = 0.0, 1.0, 1.0, 8**0.5
            if case.truth.part == slow:
                found.waited, found.status = 2.0 * (status == "ok"), status
        made.extend(cases)

    monkeypatch.setattr(training, "simulated", simulated)
    found = training.samples(prior, 1, EACH, 20, Pool(workers=1))
    names = ["healthy" if mode < 0 else prior.modes[mode].part + " " + prior.modes[mode].mode for mode in found.mode]
    assert len(np.unique(found.circuit)) == len(made)
    return Counter({name: count // training.DRAWS for name, count in Counter(names).items()}), made


@pytest.mark.parametrize("status", ["ok", "the simulation took longer than 180 s"])
def test_a_mode_whose_circuits_take_long_has_fewer_of_them(
    prior: Prior, monkeypatch: pytest.MonkeyPatch, status: str
) -> None:
    found, _ = circuits(prior, monkeypatch, "R1", status)
    assert (found["healthy"], found["R1 open"], found["R1 drift"]) == (20, 2, 3 * EACH // training.SCARCE)
    assert (found["R2 open"], found["R2 drift"]) == (EACH, 3 * EACH)


def test_what_small_signals_tell_is_followed_in_time_three_times(prior: Prior, monkeypatch: pytest.MonkeyPatch) -> None:
    _, made = circuits(prior, monkeypatch, slow="")
    followed = Counter(case.truth.says for case in made if case.job.cycles)
    assert followed["R1 open"] == followed["healthy"] == training.PROBED
