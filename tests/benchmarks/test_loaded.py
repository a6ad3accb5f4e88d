"""What an instrument shows of a point that it loads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.cases import make
from benchmarks.loaded import read
from benchmarks.process import process
from benchmarks.simulate import Job
from benchmarks.truth import Prior
from benchmarks.waited import carried
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.unit import open_unit

SCOPE, METER = (10e6, 12e-12), (10e6, 100e-12)
#: A divider of two megohms, read at its middle and at its top.
DIVIDER = ("r1 in m 1meg", "r2 m 0 1meg")
#: A megohm into two diodes: the middle clips, and the divider behind it divides what is left.
CLIPPER = ("r1 in m 1meg", "d1 m 0 sd", "d2 0 m sd", "r2 m n 100meg", "r3 n 0 100meg", ".model sd d(is=1n)")


def job(lines: tuple[str, ...], nodes: tuple[str, ...], drive: float, loads: tuple[tuple[float, float], ...]) -> Job:
    stated = process()["simulation"]
    return Job(lines, ("in", "0"), drive, 2.0, (500.0, 10e3), nodes, tuple(stated["cycles"]),
               stated["agree_db"], stated["steps"], loads=loads)  # fmt: skip


@pytest.mark.parametrize("in_time", [True, False])
def test_a_divider_is_loaded_as_the_textbook_says(pool: Pool, in_time: bool) -> None:
    """A source of 500 kilohms, by Thévenin's theorem, with the instrument across it."""
    task = job(DIVIDER, ("m", "in"), 1.0, (SCOPE, METER))
    task = task if in_time else replace(task, cycles=())
    [found] = pool.map(read, [task])
    carries = found.value
    np.testing.assert_allclose(carries.dc, [2 / 2 * 10 / 10.5, 2.0], rtol=1e-4)
    source = 500e3
    across = [1 / (1 / SCOPE[0] + 2j * np.pi * frequency * SCOPE[1]) for frequency in task.frequencies]
    shown = [[abs(0.5 * z / (z + source)) for z in across], [1.0, 1.0]]
    np.testing.assert_allclose(carries.small, shown, rtol=1e-4)
    if in_time:
        np.testing.assert_allclose(carries.level, shown, rtol=2e-2)
        np.testing.assert_allclose(carries.swing / 8**0.5, shown, rtol=2e-2)


def test_each_point_is_read_by_itself(pool: Pool) -> None:
    """The top of a chain of high resistances is not loaded by what its bottom is read with."""
    chain = ("r1 in m 1meg", "r2 m n 1meg", "r3 n 0 1meg")
    one, both = pool.map(read, [job(chain, ("m",), 1.0, (SCOPE, METER)), job(chain, ("m", "n"), 1.0, (SCOPE, METER))])
    assert both.value.dc[0] == pytest.approx(one.value.dc[0], rel=1e-6)
    assert both.value.small[0] == pytest.approx(one.value.small[0], rel=1e-6)


def test_what_clips_is_followed_with_the_instrument_on(pool: Pool) -> None:
    """Diodes hold the middle where they did; behind 100 megohms the instrument takes most."""
    cable = (1e6, 100e-12)
    task = replace(job(CLIPPER, ("m", "n"), 5.0, (cable, METER)), dc=0.0)
    bare, shown = pool.map(carried, [task])[0].value, pool.map(read, [task])[0].value
    assert shown.small[0, 0] < 0.85 * bare.small[0, 0], "where it does not clip, the instrument changes it"
    np.testing.assert_allclose(shown.level[0], bare.level[0], rtol=0.05)
    with_it = replace(task, lines=(*task.lines, "rx n 0 1meg", "cx n 0 100p"), loads=())
    np.testing.assert_allclose(shown.level[1], pool.map(carried, [with_it])[0].value.level[1], rtol=0.01)
    assert (shown.level[1] < 0.05 * bare.level[1]).all()


def test_an_input_that_floats_has_the_bias_that_the_instrument_gives_it(pool: Pool) -> None:
    """A nanoampere from nowhere lifts it to where a diode holds it; ten megohms take it away at 10 mV (Ohm's law)."""
    floating = ("c1 in g 100n", "i1 0 g 1n", "d1 g 0 sd", ".model sd d(is=1e-14)")
    task = job(floating, ("g",), 0.1, (SCOPE, METER))
    bare, shown = pool.map(carried, [task])[0].value, pool.map(read, [task])[0].value
    assert bare.dc[0] > 0.25
    assert shown.dc[0] == pytest.approx(10e-3, rel=0.02)


def test_an_amplifier_s_output_does_not_care(pool: Pool) -> None:
    """Ten megohms across a fraction of an ohm. Started from node voltages, ngspice stopped 0.1 V short of it."""
    circuit = build(open_unit("planetarium-loudspeaker"), pool)
    task = replace(make(Prior(circuit), "fault", (1, 85)).job, cycles=())
    bare, shown = pool.map(carried, [task])[0].value, pool.map(read, [task])[0].value
    output = list(circuit.points).index("SP1 minus")
    assert shown.dc[output] == pytest.approx(bare.dc[output], abs=1e-4)
