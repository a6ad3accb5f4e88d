"""Levels of the generator in a readings file: the set-up's own, further ones, and others."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.readings.read import read
from lostgain.readings.typed import place_cells, typed
from lostgain.readings.write import write
from tests.readings.example import ONE_CHANNEL
from tests.readings.test_read import one, refused, taken

UNIT = replace(ONE_CHANNEL, setup=replace(ONE_CHANNEL.setup, levels=(0.02,)))
HEAD = "test point,value,generator level"


@pytest.mark.parametrize("cell", ["20 mV rms", "20 mV", "0.02 V", "0,02 V", "56.6 mVpp", "28.3 mVpk", "-31.8 dBu"])
def test_a_further_level(cell: str) -> None:
    """0.02 V rms is 56.6 mV from top to bottom, 28.3 mV peak, and 20 lg(0.02/0.7746) = -31.8 dBu (ITU-R BS.645)."""
    assert one(f'TP4,1.2 V rms,"{cell}"', HEAD, UNIT).generator == 0.02


@pytest.mark.parametrize("cell", ["", "200 mV", "0.2 V rms", "203 mV"])
def test_the_set_ups_own(cell: str) -> None:
    assert one(f"TP4,1.2 V rms,{cell}", HEAD, UNIT).generator is None


@pytest.mark.parametrize("head", ["generator level", "Drive", "driven with", "generator at", "generator volts"])
def test_headings(head: str) -> None:
    assert one("TP4,1.2 V rms,20 mV", f"test point,value,{head}", UNIT).generator == 0.02
    assert one("TP4,1.2 V rms,20", f"test point,value,{head} (mV)", UNIT).generator == 0.02


def test_for_the_whole_file() -> None:
    lines = "TP4,1 V rms,\nTP4,9 V rms,200 mV\n"
    found = taken(f"# generator level: 20 mV\n{HEAD}\n{lines}", UNIT)
    assert [row.generator for row in found.rows] == [0.02, None]


def test_only_a_level_has_one() -> None:
    found = taken(f"{HEAD},quantity\nTP4,1.2 V,20 mV,dc\nVPP,120 mA,20 mV,current\n", UNIT)
    assert [row.generator for row in found.rows] == [None, None]


def test_the_same_point_at_two_levels_is_not_read_twice() -> None:
    twice = "read before"
    assert not any(twice in text for text in taken(f"{HEAD}\nTP4,1 V rms,\nTP4,90 mV rms,20 mV\n", UNIT).warnings)
    assert any(twice in text for text in taken(f"{HEAD}\nTP4,1 V rms,20 mV\nTP4,90 mV rms,20 mV\n", UNIT).warnings)


@pytest.mark.parametrize(
    ("cell", "said"), [("twenty", "twenty"), ("0 V", "above zero"), ("-20 mV", "above zero"), ("20 Hz", "20 Hz")]
)
def test_no_level(cell: str, said: str) -> None:
    assert said in refused(f"{HEAD}\nTP4,1 V rms,{cell}\n", UNIT)


def test_another_level_is_warned_of() -> None:
    found = taken(f"{HEAD}\nTP4,1 V rms,\nTP4,1 V rms,50 mV\n", UNIT)
    assert any("line 3: 50 mV rms is none of the set-up's generator levels (200 mV rms, 20 mV rms)" in text
               for text in found.warnings)  # fmt: skip


def test_another_frequency_at_a_further_level_is_warned_of() -> None:
    found = taken(f"{HEAD},frequency\nTP4,1 V rms,20 mV,500 Hz\nTP4,1 V rms,20 mV,40 Hz\n", UNIT)
    assert [text for text in found.warnings if "only 500 Hz is simulated" in text] != []
    assert not any("line 2" in text for text in found.warnings)


def test_written_and_read_again(tmp_path: Path) -> None:
    found = taken(f"{HEAD}\nTP4,1 V rms,20 mV\nTP4,1 V rms,\n", UNIT)
    write(tmp_path / "again.csv", found)
    assert [row.generator for row in read(tmp_path / "again.csv", UNIT).rows] == [0.02, None]
    write(tmp_path / "none.csv", taken("test point,value\nTP4,1 V rms\n", UNIT))
    assert "generator" not in (tmp_path / "none.csv").read_text(encoding="utf-8"), "a column that nobody needs"


def test_typed_at_a_prompt() -> None:
    cells = place_cells(UNIT, "TP4, 20 mV, 500 Hz")
    assert cells == {"test point": "TP4", "generator level": "20 mV", "frequency": "500 Hz"}
    assert typed(UNIT, {**cells, "value": "1 V rms"}).rows[0].generator == 0.02
    with pytest.raises(UserError, match="generator level"):
        place_cells(UNIT, "TP4, loudly")
