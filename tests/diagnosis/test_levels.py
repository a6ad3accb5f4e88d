"""Readings at another level of the generator: asked for, compared, and allowed for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from lostgain import instruments, match
from lostgain.circuit import build
from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.candidates import candidates
from lostgain.diagnosis.common import common_allowance
from lostgain.diagnosis.features import feature_of
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.engine import Pool
from lostgain.readings.model import Reading, Readings
from lostgain.report.text_next import each_text
from lostgain.signatures import Table, table
from tests.circuit.units import make
from tests.signatures.units import CLASS_B, CLASS_B_NETLIST

QUIET = 0.4


@pytest.fixture(scope="module")
def followers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Table]:
    """All faults of two emitter followers, at two levels of the generator."""
    circuit = build(make(tmp_path_factory.mktemp("units") / "followers", CLASS_B, board=CLASS_B_NETLIST))
    with Pool(workers=2) as pool:
        yield table(circuit, pool, draws=8)


def read(found: Table, label: str, place: int, draw: int = 1) -> Reading:
    """The level at the emitters under a fault, driven as at one of the table's places."""
    row = [None, *(each.label for each in found.faults)].index(label)
    drive = found.drives[place]
    volts = float(found.values("level")[row, draw, found.points.index("Emitters"), place])
    own = found.circuit.unit.setup.generator
    generator = None if drive.generator == own else drive.generator
    return Reading("Emitters", "level", "main", volts, frequency=drive.frequency, instrument="dmm-trms",
                   generator=generator)  # fmt: skip


def share(found: Table, part: str, *rows: Reading) -> float:
    return sum(each.probability for each in match(found, Readings(rows)).suspects if each.part == part)


def test_a_quiet_signal_shows_a_dead_zone(followers: Table) -> None:
    loud, quiet = (read(followers, "D1 short", place) for place in (0, 3))
    alone, both = (share(followers, "D1", *rows) for rows in ((loud,), (loud, quiet)))
    assert both > 1.5 * alone


def test_the_next_reading_may_be_at_another_level(followers: Table) -> None:
    loud = read(followers, "D1 short", 0)
    step = next_reading(followers, Readings((loud,)), most=100)
    found = [each for each in step.ranked if isinstance(each, NextReading) and each.generator == QUIET]
    assert {each.point for each in found} == {"Input", "Emitters"}
    best = next(each for each in found if each.point == "Emitters")
    others = [each for each in step.ranked if isinstance(each, NextReading) and each.point == "Emitters"
              and each.quantity == "level" and each.generator is None]  # fmt: skip
    assert best.information > max(each.information for each in others), "other frequencies lose as much"
    assert each_text(best, followers.circuit.unit) == "Emitters, level at 500 Hz from 400 mV rms"


def test_what_was_read_at_another_level_is_not_asked_for_again(followers: Table) -> None:
    known = instruments(followers.circuit.unit.folder)

    def asked(*rows: Reading) -> set[tuple[str, float | None, float | None]]:
        found = candidates(followers, Readings(rows), known, ["main"])
        return {(each.reading.point, each.reading.frequency, each.reading.generator) for each in found}

    quiet = read(followers, "D1 short", 3)
    assert asked() - asked(quiet) == {("Emitters", 500.0, QUIET)}


@pytest.mark.parametrize(
    ("generator", "frequency", "said"),
    [(0.1, 500.0, "the table holds the generator at 2 V rms, 400 mV rms"),
     (QUIET, 40.0, "further levels at 500 Hz, not 40 Hz with the generator at 400 mV rms")],
)  # fmt: skip
def test_what_is_not_held_is_left_out(followers: Table, generator: float, frequency: float, said: str) -> None:
    row = replace(read(followers, "D1 short", 3), generator=generator, frequency=frequency)
    warnings = match(followers, Readings((read(followers, "D1 short", 0), row))).warnings
    assert any(said in text for text in warnings)


def test_each_level_is_set_anew(followers: Table) -> None:
    """Two levels share the generator's error; at a further one its own step comes on top, the same for all points."""
    known = instruments(followers.circuit.unit.folder)["dmm-trms"]
    rows = [read(followers, "D1 short", place) for place in (0, 3)]
    rows.append(replace(rows[1], point="Input"))
    keys = [("main", feature) for row in rows if (feature := feature_of(row, followers, known)) is not None]
    allow = allowances()
    with_steps = common_allowance(followers, keys).always
    step = allow.generator_step_db**2
    assert step > 0
    between = with_steps[0, 2]  # another point at another level: only the generator is the same
    assert between == pytest.approx(allow.generator_level_db**2)
    assert with_steps[1, 2] == pytest.approx(between + step)
    assert np.linalg.eigvalsh(with_steps).min() > 0
