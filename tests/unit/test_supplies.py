"""Supplies in a unit file: what they deliver, and the mistakes one can make."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.faults.listing import is_shared
from lostgain.problems import UserError
from lostgain.readings.values import parse
from lostgain.unit import open_unit
from tests.published.mains_texts import SUPPLIED

#: The same with one fuse ahead of all supply stages.
ONE_FUSE = SUPPLIED.replace('F = "F1 500mA"\n', "").replace("[setup]", 'fuse = "F9 1A"\n[setup]')


def write(folder: Path, text: str) -> Path:
    (folder / "unit.toml").write_text(text, encoding="utf-8")
    return folder


def test_supply_stages_deliver_their_rails(tmp_path: Path) -> None:
    unit = open_unit(write(tmp_path, SUPPLIED))
    assert [stage.name for stage in unit.supplies] == ["Rectifier", "Smoothing"]
    assert [(rail.name, rail.fed_by) for rail in unit.rails] == [("HT", "Rectifier"), ("HT2", "Smoothing")]
    assert unit.feed is not None
    assert (unit.feed.volts, unit.feed.frequency) == (230, 50)
    assert "HT" not in unit.parts  # what fails is what delivers it
    assert is_shared(unit.parts["C1"], unit)
    assert not is_shared(unit.parts["V1A"], unit)
    assert [(each.designator, each.volts, each.bleeder) for each in unit.reservoirs] == [
        ("C1", 280, 6800), ("C2", 270, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('rails = { out = "HT" }', 'rails = { out = "HX" }', "there is no rail “HX”"),
        ('rails = { out = "HT" }', "", "out"),
        ('HT = "+280 V"', 'HT = "-280 V"', "delivers a positive rail at out"),
        ('rails = { in = "HT", out = "HT2" }', 'rails = { in = "HT2", out = "HT" }', "which no supply stage ahead"),
        ('rails = { in = "HT", out = "HT2" }', 'rails = { in = "HT", out = "HT" }', "delivered twice"),
        ('use = "supply-filter"', 'use = "coupling"', "delivers no rail"),
        ('use = "supply-filter"', 'use = "supply-fitler"', "Did you mean supply-filter"),
        ('frequency = "50 Hz"', 'frequency = "50 kHz"', "can’t be"),
        ('volts = "230 V"\n', "", r"\[mains\] needs volts"),
        ('use = "triode-stage"', 'use = "supply-shunt"', r"belongs under \[\[supply\]\]"),
    ],
)
def test_mistakes(tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        open_unit(write(tmp_path, SUPPLIED.replace(old, new)))


def test_mains_without_a_supply_is_a_mistake(tmp_path: Path) -> None:
    text = SUPPLIED[: SUPPLIED.index("[[supply]]")] + SUPPLIED[SUPPLIED.index("[[stage]]") :]
    with pytest.raises(UserError, match="whose supply is described"):
        open_unit(write(tmp_path, text))


def test_one_fuse_may_be_ahead_of_all_supply_stages(tmp_path: Path) -> None:
    unit = open_unit(write(tmp_path, ONE_FUSE))
    assert unit.feed is not None
    assert unit.feed.fuse == "F9"
    assert unit.parts["F9"].value == 1
    assert is_shared(unit.parts["F9"], unit)
    assert "F1" not in unit.parts


@pytest.mark.parametrize(
    ("fuse", "said"),
    [
        ("F9", "the fuse F9 needs its current"),
        ("", "fuse is empty"),
        ("R1 1A", "the designator R1 is used twice"),
        ("F9 1k", "F9"),
    ],
)
def test_mistakes_at_the_mains_fuse(tmp_path: Path, fuse: str, said: str) -> None:
    text = ONE_FUSE.replace("F9 1A", fuse)
    with pytest.raises(UserError, match=said) as caught:
        open_unit(write(tmp_path, text))
    line = text.splitlines().index(f'fuse = "{fuse}"') + 1
    assert line in {problem.where.line for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("text", "value"),
    [("1.2 Vpp", 1.2), ("80 mV", 0.08), ("100 mV rms", 0.3464), ("< 5 mVpp", 0.005), ("30 mV peak", 0.06)],
)
def test_ripple_is_peak_to_peak(text: str, value: float) -> None:
    """A sawtooth's rms value is its peak-to-peak over 2 times the square root of 3 (textbook)."""
    found = parse(text, "ripple")
    assert found.quantity == "ripple"
    assert found.value == pytest.approx(value, rel=1e-3)
