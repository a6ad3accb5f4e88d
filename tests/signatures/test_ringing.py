"""Draws that ring, and draws that give way where nominal values do not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.circuit.model import driven
from lostgain.engine import Pool, Session
from lostgain.faults import parse
from lostgain.signatures import row_draws, slow_draws
from lostgain.signatures.draws import deviates, drawn, varied
from lostgain.signatures.follow import RINGING
from lostgain.signatures.row import RowResult, RowTask, changed, empty
from lostgain.signatures.row_draws import Loud
from lostgain.signatures.rows import run_row
from lostgain.signatures.states import Steady
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
    real = slow_draws.nearby

    def counted(*given, **more):  # type: ignore[no-untyped-def]
        asked.append(given[7])
        return real(*given, **more)

    monkeypatch.setattr(slow_draws, "nearby", counted)
    session = Session()
    run_row(session, task(resonator, "R3 drift 20x"))
    assert asked[:2] == [2, RINGING[0]]
    assert set(asked[2:]) == set(RINGING), "the first draw has told that it rings"
    asked.clear()
    run_row(session, task(resonator, "R3 drift 20x", "R1 drift 0.05x"))
    assert asked[:2] == [2, 1], "damped, a cycle is enough"


def test_what_remembers_nothing_starts_from_rest(
    pool: Pool, resonator: Circuit, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Damped by 50 ohm, it clips from the first half wave on as it does for good."""
    item = task(resonator, "R3 drift 20x", "R1 drift 0.005x")
    (outcome,) = pool.map(long_after, [item])
    assert outcome.error is None, outcome.error
    starts: list[str] = []
    for name in ("nearby", "soon"):
        real = getattr(slow_draws, name)

        def noted(*given, real=real, name=name, **more):  # type: ignore[no-untyped-def]
            starts.append(name)
            return real(*given, **more)

        monkeypatch.setattr(slow_draws, name, noted)
    found = run_row(Session(), item)
    assert not found.small_signal.any(), "it clips"
    assert starts == ["nearby"] + ["soon"] * DRAWS, "the first draw both ways, the others from rest alone"
    apart = 20 * np.log10(found.level[1:, :, 0] / outcome.value)
    assert np.abs(apart).max() < 0.03


def steady_at(level: float, settled: bool, cycles: int = 1) -> Steady:
    return Steady(np.array([level]), np.array([level]), np.zeros((1, 64)), settled, cycles, np.zeros(0))


@pytest.mark.parametrize("clips", [False, True])
def test_no_draw_is_followed_that_is_no_louder_than_one_that_does_not_clip(
    resonator: Circuit, monkeypatch: pytest.MonkeyPatch, clips: bool
) -> None:
    points = len(resonator.points)
    result = empty(resonator, 4)
    result.dc[:], result.level[:], result.phasor[:], result.swing[:] = 0.0, 1.0, 1.0, 8**0.5
    loud = [Loud(number, 0, np.full(points, size), np.full(points, size / 10))
            for number, size in ((1, 7.0), (2, 9.0), (3, 8.0))]  # fmt: skip
    for each in loud:
        result.level[each.number] = each.size[0]
    followed: list[float] = []

    def fake(_session: object, flat: float, *_given: object, **_named: object) -> Steady:
        followed.append(flat)
        return replace(steady_at(1.0, True), level=np.full(points, 0.9 * flat if clips else flat))

    monkeypatch.setattr(row_draws, "steady", fake)
    monkeypatch.setattr(row_draws, "_small", lambda *_given: None)
    monkeypatch.setattr(row_draws, "keep", lambda *_given: None)
    fine = row_draws.proved(resonator, result, np.zeros(1, dtype=bool), None)
    row_draws.loud_draws(None, [7.0, 9.0, 8.0], resonator, result, loud, fine)  # type: ignore[arg-type,list-item]
    assert followed == ([9.0, 8.0, 7.0] if clips else [9.0])


def test_the_healthy_units_draws_speak_only_where_a_fault_touches_nothing(resonator: Circuit) -> None:
    """What is no louder than a healthy draw need not be followed, at that frequency; elsewhere it must be."""
    points = len(resonator.points)
    result, well = empty(resonator, 2), empty(resonator, 3)
    for row, level in ((result, 1.0), (well, 9.0)):
        row.dc[:], row.level[:], row.phasor[:], row.swing[:] = 0.0, level, level, 8**0.5 * level
    well.level[2] = np.nan  # a draw that gave no result says nothing
    for untouched in (False, True):
        fine = row_draws.proved(resonator, result, np.array([untouched]), well)
        size = np.full(points, 8.5)
        share = 2**0.5 * size / max(abs(rail.volts) for rail in resonator.unit.rails)
        assert Loud(1, 0, size, share).beyond(fine.size[:, 0], fine.share[:, 0]) is not untouched
