"""What a bench reads is read after a bias has got where it stays."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from benchmarks.process import process
from benchmarks.simulate import Job
from benchmarks.waited import carried
from lostgain.engine import Pool

#: A peak rectifier that takes a fifth of a second to charge, and what its load leaves.
RECTIFIER = ("r4 in a 10", "d1 a out sd", "r1 out c 10k", "c1 c 0 20u", "r2 c 0 30k", "r3 out 0 100meg",
             ".model sd d(is=1n n=0.05)")  # fmt: skip


def job(seconds: tuple[tuple[float, int], ...], every: tuple[str, ...]) -> Job:
    stated = process()["simulation"]
    return Job(RECTIFIER, ("in", "0"), 5.0, 0.0, (500.0, 5e3), ("out", "c"), tuple(stated["cycles"]),
               stated["agree_db"], stated["steps"], seconds, every)  # fmt: skip


@pytest.mark.parametrize("every", [("in", "a", "out", "c"), ()])
def test_a_bias_that_drifts_is_waited_for(pool: Pool, every: tuple[str, ...]) -> None:
    """No charge is left over a cycle in the steady state (textbook): what flows in above the held voltage flows out."""
    sine = 5 * 2**0.5 * np.sin(2 * np.pi * (np.arange(20_000) + 0.5) / 20_000)
    volts = brentq(lambda held: np.maximum(sine - held, 0).mean() / 10e3 - held / 30e3, 0, 7)
    steady = np.maximum(sine, volts).std()
    at_once, after = pool.map(carried, [job((), every), job(((2.0, 130_000),), every)])
    assert at_once.value.level[0, 0] > 1.3 * steady
    assert after.value.level[0, 0] == pytest.approx(steady, rel=0.05)
    if every:  # it goes on from there; from rest, the steps allowed at 5 kHz are too few
        assert after.value.level[0, 1] == pytest.approx(steady, rel=0.05)
