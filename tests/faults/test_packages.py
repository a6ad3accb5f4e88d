"""Parts in one housing lose together what they share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.diagnosis.severity import sentence
from lostgain.engine import Pool
from lostgain.faults import listing, parse, rates
from lostgain.faults.catalogue import modes_for
from lostgain.faults.listing import clusters
from lostgain.faults.packages import packages, together
from lostgain.signatures.rows import RowTask, run_row
from lostgain.unit import open_unit
from tests.published.conftest import pool  # noqa: F401

UNITS = Path(__file__).parent.parent / "units"
MEGAPHONE = UNITS / "megaphone"


@pytest.fixture(scope="module")
def megaphone(pool: Pool) -> Circuit:  # noqa: F811
    return build(open_unit(MEGAPHONE), pool)


def test_every_package_is_of_known_kinds_and_modes_and_has_its_rate() -> None:
    for package in packages():
        for kind in package.kinds:
            assert package.member in {mode.name for mode in modes_for(kind)}
        for name in ("bench", "handbook"):
            assert 0 < rates(name).of_cluster(package.mode) < rates(name).of_kind(package.kinds[0])
    assert rates("bench").of_cluster("output-pair-shorted") == rates("bench").of_kind("cluster")


def test_both_sections_of_a_chip_lose_their_supply_and_neither_does_alone(megaphone: Circuit) -> None:
    rows = [fault for fault in listing(megaphone) if fault.mode in ("vp-open", "vn-open")]
    assert [(fault.part, fault.mode) for fault in rows] == [("U1A", "vp-open"), ("U1A", "vn-open")]
    assert [member.part for member in rows[0].members] == ["U1A", "U1B"]
    for text in ("U1A vp-open", "U1B vp-open", "U1B v+-open"):
        assert parse(text, megaphone) == rows[0]


def test_what_shows_of_a_chip_without_its_supply(megaphone: Circuit, pool: Pool) -> None:  # noqa: F811
    """No signal behind either section; the bridged input network of the first still has it."""
    fault = parse("U1A vp-open", megaphone)
    assert sentence(fault, None, None, megaphone, None) == "no positive supply at the chip's pin: U1A, U1B"
    well, dead = (
        outcome.value
        for outcome in pool.map(run_row, [RowTask(megaphone, each, [], np.zeros((0, 0)), 0) for each in ((), (fault,))])
    )
    level = dict(zip(megaphone.points, dead.level[0, :, 0] / well.level[0, :, 0], strict=True))
    assert level["R2, left end"] == pytest.approx(1, abs=0.05)
    assert level["U1 pin 7"] < 0.2


def test_the_halves_of_a_bottle_go_cold_together_or_alone() -> None:
    unit = open_unit("clubhouse-guitar-amplifier")
    assert [(each.part, each.mode, [one.mode for one in each.members]) for each in together(unit)] == [
        ("V1A", "both-cold", ["heater-open", "heater-open"])
    ]


def test_a_shorted_rectifier_takes_the_fuse_with_it_where_there_is_one(tmp_path: Path) -> None:
    """Common practice, no source: the secondary is shorted every other half-wave, and the fuse goes."""
    unit = open_unit("clubhouse-guitar-amplifier")
    found = {each.mode: [one.part for one in each.members] for each in clusters(unit)}
    assert found["third-rectifier-shorted"] == ["D3", "F1"]
    text = (UNITS.parent.parent / "circuits" / "units" / unit.name / "unit.toml").read_text(encoding="utf-8")
    (tmp_path / "unit.toml").write_text(text.replace('F = "F1 500mA"\n', ""), encoding="utf-8")
    assert not [each for each in clusters(open_unit(tmp_path)) if "rectifier" in each.mode]
