"""The instruments, and a shop's own file over them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.readings import instruments, read
from tests.readings.example import ONE_CHANNEL

NEW = """
[millivoltmeter]
title = "bench millivoltmeter"
also = ["mv meter"]
quantities = ["level"]
scale_error = 0.01
read_error = 0.005
floor_level = 1e-5
floor_dc = 1.0
zero_error = 0.0
bandwidth = [10.0, 1e6]
responds = "average"
resistance = 1e6
capacitance = 50e-12
"""


def test_the_shipped_instruments_are_plausible() -> None:
    found = instruments()
    assert set(found) >= {"scope-x10", "scope-x1", "dmm-trms", "dmm-average"}
    for name, instrument in found.items():
        assert instrument.name == name
        assert 0 < instrument.read_error < 0.1
        assert 0 < instrument.floor_level < 0.1
        assert instrument.bandwidth[0] < 500 < instrument.bandwidth[1]
    # common practice, no source: a x10 probe loads less than a x1 probe, and shows less of a small signal
    assert found["scope-x10"].capacitance < found["scope-x1"].capacitance
    assert found["scope-x10"].resistance > found["scope-x1"].resistance
    assert found["scope-x10"].floor_level > found["scope-x1"].floor_level


def test_a_shop_adds_an_instrument_and_changes_one(tmp_path: Path) -> None:
    (tmp_path / "instruments.toml").write_text(NEW + "\n[dmm-trms]\nread_error = 0.001\n", encoding="utf-8")
    found = instruments(tmp_path)
    assert found["dmm-trms"] == replace(instruments()["dmm-trms"], read_error=0.001)
    assert found["millivoltmeter"].bandwidth == (10.0, 1e6)
    (tmp_path / "r.csv").write_text("point,value,with\nTP4,1 V rms,mV meter\n", encoding="utf-8")
    (row,) = read(tmp_path / "r.csv", replace(ONE_CHANNEL, folder=tmp_path)).rows
    assert row.instrument == "millivoltmeter"


def test_a_reading_an_instrument_cant_take_is_refused(tmp_path: Path) -> None:
    (tmp_path / "instruments.toml").write_text(NEW, encoding="utf-8")
    (tmp_path / "r.csv").write_text("point,value,with\nTP4,+1 V,millivoltmeter\n", encoding="utf-8")
    with pytest.raises(UserError, match="doesn't read dc"):
        read(tmp_path / "r.csv", replace(ONE_CHANNEL, folder=tmp_path))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[scope-x10]\nread_error = 3\n", r"line 2.*fraction"),
        ("[scope-x10]\nread_error = -0.1\n", "at least zero"),
        ("[scope-x10]\nread_error = nan\n", "at least zero"),
        ("[scope-x10]\nfloor_level = 0\n", "above zero"),
        ("[scope-x10]\nfloor = 1e-3\n", "no key “floor”"),
        ("[scope-x10]\nbandwidth = [20e3, 20]\n", "lowest, highest"),
        ("[scope-x10]\nbandwidth = 20\n", "lowest, highest"),
        ('[scope-x10]\nresponds = "peak"\n', "not known"),
        ('[scope-x10]\nquantities = ["ac"]\n', "no quantity"),
        ("[scope-x11]\nread_error = 0.01\n", "new instrument and needs title"),
        ("scope-x10 = 3\n", "should be a table"),
        ("[scope-x10\n", "not TOML"),
    ],
)
def test_mistakes_in_a_shops_file(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "instruments.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=message):
        instruments(tmp_path)


def test_an_unknown_instrument_in_the_set_up_is_refused(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("point,value\nTP4,1 Vpp\n", encoding="utf-8")
    unit = replace(ONE_CHANNEL, setup=replace(ONE_CHANNEL.setup, instrument="scope-x12"))
    with pytest.raises(UserError, match="scope-x10"):
        read(tmp_path / "r.csv", unit)


def test_a_picture_that_a_meter_cannot_show_is_warned_of(tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text("point,value,frequency,instrument\nTP4,clipped,500 Hz,dmm\nTP4,clipped,500 Hz,scope\n", "utf-8")
    (told,) = read(file, ONE_CHANNEL).warnings
    assert "shows no picture" in told
    assert "line 2" in told
