"""Draws that ring, and draws that give way where nominal values do not."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.circuit.model import driven
from lostgain.engine import Pool, Session
from lostgain.faults import parse
from lostgain.signatures import row_draws
from lostgain.signatures.draws import deviates, drawn, varied
from lostgain.signatures.follow import RINGING
from lostgain.signatures.row import RowResult, RowTask, changed
from lostgain.signatures.rows import run_row
from tests.circuit.units import make
from tests.signatures.units import RINGING_NETLIST, RINGS

DRAWS = 6


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    with Pool(workers=1) as pool:
        yield pool


@pytest.fixture(scope="module")
def resonator(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    """A resonance of high quality at the generator's frequency, before an amplifier that clips."""
    return build(make(tmp_path_factory.mktemp("units") / "rings", RINGS, board=RINGING_NETLIST), pool)


def task(circuit: Circuit, *faults: str) -> RowTask:
    numbers = varied(circuit)
    chosen = tuple(parse(each, circuit) for each in faults)
    return RowTask(circuit, chosen, numbers, deviates(DRAWS, len(numbers), seed=3), DRAWS)


def run(pool: Pool, one: RowTask) -> RowResult:
    (outcome,) = pool.map(run_row, [one])
    assert outcome.error is None, outcome.error
    found: RowResult = outcome.value
    return found


def long_after(session: Session, item: RowTask) -> np.ndarray:
    """The levels of each draw after 60 cycles from rest: array, (draw, point)."""
    setup, nodes = item.circuit.unit.setup, list(item.circuit.points.values())
    period, found = 1 / setup.frequencies[0], []
    for z in item.z:
        flat = changed(drawn(item.circuit.flat, item.numbers, z), item.circuit, item.faults, None)
        session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
        time, values = session.tran(60 * period, period / 64, nodes)
        grid = 59 * period + period * np.arange(256) / 256
        found.append([np.std(np.interp(grid, time, row)) for row in values])
    return np.array(found)


@pytest.mark.parametrize("fault", ["R3 drift 20x", "R3 drift 2.5x"])
def test_every_draw_is_where_it_stays(pool: Pool, resonator: Circuit, fault: str) -> None:
    """20 times the gain clips at nominal values and rings; 2.5 times clips in no more than some of the draws."""
    item = task(resonator, fault)
    (outcome,) = pool.map(long_after, [item])
    assert outcome.error is None, outcome.error
    level = run(pool, item).level[1:, :, 0]
    apart = 20 * np.log10(level / outcome.value)
    # Two ways of integrating make a tenth of a decibel of a resonance; two cycles, 2 dB of a draw that is off it.
    assert np.abs(apart).max() < 0.15


def test_what_rings_is_followed_for_longer(pool: Pool, resonator: Circuit, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    real = row_draws.nearby

    def counted(*given, **more):  # type: ignore[no-untyped-def]
        asked.append(given[7])
        return real(*given, **more)

    monkeypatch.setattr(row_draws, "nearby", counted)
    session = Session()
    run_row(session, task(resonator, "R3 drift 20x"))
    assert asked[:2] == [2, RINGING[0]]
    assert set(asked[2:]) == set(RINGING), "the first draw has told that it rings"
    asked.clear()
    run_row(session, task(resonator, "R3 drift 20x", "R1 drift 0.05x"))
    assert asked[:2] == [2, 1], "damped, a cycle is enough"
