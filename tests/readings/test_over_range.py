"""Readings that say only "more than"."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.readings import instruments, read
from tests.readings.example import ONE_CHANNEL
from tests.readings.test_read import one, refused, taken

HEAD = "point,quantity,value,instrument"


@pytest.mark.parametrize(
    ("quantity", "cell", "instrument", "value", "given_as"),
    [
        ("level", "> 10 Vpp", "", 10 / 8**0.5, "pp"),
        ("", "more than 10 V rms", "", 10.0, "rms"),
        ("level", ">10 V", "dmm", 10.0, "rms"),
        ("dc", ">10 V", "", 10.0, "rms"),
        ("current", "> 2 A", "", 2.0, "rms"),
    ],
)
def test_a_limit_that_is_given(quantity: str, cell: str, instrument: str, value: float, given_as: str) -> None:
    place = "VPP" if quantity == "current" else "TP4"
    readings = taken(f"{HEAD}\n{place},{quantity},{cell},{instrument}\n")
    (row,) = readings.rows
    assert (row.above, row.below, row.word, row.given_as) == (True, False, "", given_as)
    assert row.value == pytest.approx(value)
    assert not readings.warnings


@pytest.mark.parametrize("cell", ["OL", "0.L", "over", "over range", "overload"])
@pytest.mark.parametrize("quantity", ["level", "dc"])
def test_over_range_is_above_what_the_instrument_reads(cell: str, quantity: str) -> None:
    readings = taken(f"{HEAD}\nTP4,{quantity},{cell},dmm\n")
    (row,) = readings.rows
    assert row.above
    assert row.value == instruments()["dmm-trms"].largest(quantity)
    assert "line 2: over range at TP4 is taken as more than" in readings.warnings[0]


def test_the_shops_own_range_counts(tmp_path: Path) -> None:
    (tmp_path / "instruments.toml").write_text("[dmm-trms]\nlargest_dc = 200\n", encoding="utf-8")
    (tmp_path / "r.csv").write_text(f"{HEAD}\nTP4,dc,OL,dmm\n", encoding="utf-8")
    (row,) = read(tmp_path / "r.csv", replace(ONE_CHANNEL, folder=tmp_path)).rows
    assert row.value == 200.0


@pytest.mark.parametrize(
    ("line", "warning"),
    [
        ("TP4,,OL,dmm", "doesn't say of which quantity"),
        ("TP4,level,off screen,", "more volts a division"),
        ("mains,mains watts,OL,", "left out"),
    ],
)
def test_what_stays_left_out(line: str, warning: str) -> None:
    readings = taken(f"{HEAD}\n{line}\nU2 pin 7,level,1 Vpp,\n")
    assert len(readings.rows) == 1
    assert warning in readings.warnings[0]


def test_volts_above_are_asked_about_as_others_are() -> None:
    assert "can be dc or a level" in refused("point,value\nTP4,>10 V\n")
    assert "can be two levels" in refused("point,quantity,value\nTP4,level,>10 V\n")
    assert "two things" in refused("point,quantity,value\nTP4,dc,>-10 V\n")
    assert "says nothing" in refused("point,quantity,value\nTP4,level,>0 V\n")
    assert one("TP4,> 10 Vpp").quantity == "level"
