"""Draws that ring, and draws that give way where nominal values do not."""

from __future__ import annotations

from pathlib import Path

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
def resonator(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    """A resonance of high quality at the generator's frequency, before an amplifier that clips."""
    return build(make(tmp_path_factory.mktemp("units") / "rings", RINGS, board=RINGING_NETLIST), pool)


def task(circuit: Circuit, *faults: str, draws: int = DRAWS) -> RowTask:
    numbers = varied(circuit)
    chosen = tuple(parse(each, circuit) for each in faults)
    return RowTask(circuit, chosen, numbers, deviates(draws, len(numbers), seed=3), draws)


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


def test_every_draw_is_where_it_stays(pool: Pool, resonator: Circuit) -> None:
    """20 times the gain clips at nominal values and rings."""
    item = task(resonator, "R3 drift 20x")
    (outcome,) = pool.map(long_after, [item])
    assert outcome.error is None, outcome.error
    level = run(pool, item).level[1:, :, 0]
    apart = 20 * np.log10(level / outcome.value)
    # Two ways of integrating make a tenth of a decibel of a resonance; two cycles, 2 dB of a draw that is off it.
    assert np.abs(apart).max() < 0.15


def test_a_draw_may_clip_where_nominal_values_do_not(pool: Pool, tmp_path: Path) -> None:
    """Damped, at 9.3 times the gain: just below the rails at nominal values, and 0.4 dB into them in one draw of 16."""
    text = RINGS.replace('resistor = "5%"', 'resistor = "10%"')
    circuit = build(make(tmp_path / "loud", text, board=RINGING_NETLIST), pool)
    item = task(circuit, "R3 drift 8.3x", "R1 drift 0.02x", draws=16)
    (outcome,) = pool.map(long_after, [item])
    assert outcome.error is None, outcome.error
    found = run(pool, item)
    assert found.small_signal.all(), "nothing clips at nominal values"
    apart = 20 * np.log10(found.level[1:, :, 0] / outcome.value)
    assert np.abs(apart).max() < 0.05


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
