"""A lower level of the generator: what is linear at the higher one is the same numbers smaller, and not simulated."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures import build as building
from lostgain.signatures.build import by_drive, deviates, table, varied
from lostgain.signatures.lower import lowered
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from tests.circuit.units import make
from tests.signatures.units import CLASS_B, CLASS_B_NETLIST, RINGING_NETLIST, RINGS

DRAWS = 3


def rows(circuit: Circuit, pool: Pool, *faults: str) -> list[RowResult]:
    """The healthy unit's row, and a fault's where one is given."""
    numbers = varied(circuit)
    task = RowTask(circuit, (), numbers, deviates(DRAWS, len(numbers), seed=5), DRAWS)
    found: list[RowResult] = [pool.map(run_row, [task])[0].value]
    for each in faults:
        faulty = replace(task, faults=(parse(each, circuit),), healthy=found[0])
        found.append(pool.map(run_row, [faulty])[0].value)
    return found


@pytest.fixture(scope="module")
def amplifier(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> list[Circuit]:
    """A resonance before an amplifier that clips at 20 times the gain; and the same at a fifth of the level."""
    circuit = build(make(tmp_path_factory.mktemp("units") / "rings", RINGS, board=RINGING_NETLIST), pool)
    setup = replace(circuit.unit.setup, levels=(circuit.unit.setup.generator / 5,))
    return by_drive(replace(circuit, unit=replace(circuit.unit, setup=setup)))


@pytest.mark.parametrize("fault", ["R3 drift 2x", "R3 drift 0.5x"])
def test_what_is_linear_is_known_at_a_lower_level(pool: Pool, amplifier: list[Circuit], fault: str) -> None:
    higher, lower = amplifier
    known = lowered(rows(higher, pool, fault)[1], higher, lower)
    assert known is not None
    simulated = rows(lower, pool, fault)[1]
    assert np.abs(20 * np.log10(known.level / simulated.level)).max() < 0.05
    assert np.abs(20 * np.log10(known.swing / simulated.swing)).max() < 0.05
    for each in fields(RowResult):
        if each.name != "status":
            assert getattr(known, each.name).shape == getattr(simulated, each.name).shape, each.name
    np.testing.assert_allclose(known.dc, simulated.dc)
    np.testing.assert_array_equal(known.settled, simulated.settled)


def test_what_clips_is_not_known(pool: Pool, amplifier: list[Circuit]) -> None:
    higher, lower = amplifier
    clipped = rows(higher, pool, "R3 drift 20x")[1]
    assert lowered(clipped, higher, lower) is None


def test_a_draw_that_clips_is_enough(pool: Pool, amplifier: list[Circuit]) -> None:
    higher, lower = amplifier
    row = rows(higher, pool, "R3 drift 2x")[1]
    assert lowered(row, higher, lower) is not None
    assert lowered(replace(row, status="1 transients did not converge"), higher, lower) is None
    row.level[2, -1, 0] *= 0.98  # as where a draw was followed in time
    assert lowered(row, higher, lower) is None


def test_a_higher_level_is_not_known(pool: Pool, amplifier: list[Circuit]) -> None:
    higher, lower = amplifier
    row = rows(lower, pool)[0]
    assert lowered(row, lower, higher) is None
    assert lowered(row, lower, lower) is None


@pytest.mark.usefixtures("cache")
def test_a_table_simulates_at_a_lower_level_what_is_not_linear(
    tmp_path: Path, pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Emitter followers with a bias of two diodes cross over where one of them is shorted."""
    circuit = build(make(tmp_path / "followers", CLASS_B, board=CLASS_B_NETLIST), pool)
    few = tuple(parse(text, circuit) for text in ("D1 short", "RL drift 2x"))
    monkeypatch.setattr("lostgain.signatures.build.listing", lambda _: few)
    monkeypatch.setattr("lostgain.signatures.build.strays", lambda _: ())
    asked: list[list[str]] = []
    real = building.simulated

    def counted(task, rows, *given):  # type: ignore[no-untyped-def]
        asked.append([str(row[0][0].mode) if row[0] else "healthy" for row in rows if row[1] is None])
        return real(task, rows, *given)

    monkeypatch.setattr(building, "simulated", counted)
    told: list[tuple[int, int]] = []
    found = table(circuit, pool, lambda *far: told.append(far), draws=2)
    assert {total for _, total in told} == {2 * found.data.sizes["row"]}
    assert told[-1][0] == told[-1][1]
    assert told == sorted(told), "what is known already counts as done"
    assert asked == [["healthy", "short", "drift"], ["healthy", "short"]]
    level = found.values("level")
    np.testing.assert_allclose(level[2, 0, :, 3], level[2, 0, :, 0] / 5, rtol=1e-9)
