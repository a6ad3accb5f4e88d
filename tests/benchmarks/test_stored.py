"""What is stored beside the benchmark's code is what it would simulate."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from benchmarks.cases import make
from benchmarks.kept import STORED, Kept, key_of
from benchmarks.loaded import read
from benchmarks.truth import Prior
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.unit import open_unit

UNITS = sorted(file.stem for file in STORED.glob("*.npz"))


@pytest.mark.parametrize("name", UNITS)
def test_a_stored_repair_simulated_anew_is_what_is_stored(name: str, pool: Pool, tmp_path: Path) -> None:
    """Else METHOD in benchmarks/kept.py was to be raised, and the unit stored anew: ``scripts/bench store``."""
    circuit = build(open_unit(name), pool)
    prior = Prior(circuit)
    cases = [make(prior, kind, (1, 0)) for kind in ("fault", "healthy")]
    with closing(Kept(circuit, tmp_path / "none.sqlite")) as kept:
        stored = [kept.get(key_of(circuit.version, case.job)) for case in cases]
    for outcome, before in zip(pool.map(read, [case.job for case in cases]), stored, strict=True):
        assert before is not None, "what is drawn, the unit or the process has changed since it was stored"
        np.testing.assert_allclose(outcome.value.dc, before.dc, rtol=1e-3, atol=1e-4)
        np.testing.assert_allclose(outcome.value.small, before.small, rtol=1e-3, atol=1e-6)
        np.testing.assert_allclose(outcome.value.level, before.level, rtol=5e-3, atol=1e-5)
