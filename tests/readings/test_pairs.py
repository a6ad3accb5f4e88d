"""Readings across a pair of test points, as technicians write them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain.unit.model import TestPoint
from tests.readings.example import ONE_CHANNEL, TWO_ZONES
from tests.readings.test_read import one, refused, taken

METER = "# instrument: dmm\n"


@pytest.mark.parametrize(
    ("cell", "point", "against"),
    [
        ("R23, Q7 end to TP4", "R23, Q7 end", "TP4"),
        ("across R23, Q7 end and TP4", "R23, Q7 end", "TP4"),
        ("between TP4 and r23 q7 end", "TP4", "R23, Q7 end"),
        ("Q5 base - Q5 emitter", "Q5 base", "Q5 emitter"),
        ("Q5 base-emitter", "Q5 base", "Q5 emitter"),
        ("q5 b-e", "Q5 base", "Q5 emitter"),
        ("U2 pin 1 to pin 7", "U2 pin 1", "U2 pin 7"),
        ("U2-7 / U2-1", "U2 pin 7", "U2 pin 1"),
        ("C7 + to C7 -", "C7 +", "C7 -"),
        ("C7+ - C7-", "C7 +", "C7 -"),
        ("TP4 to ground", "TP4", ""),
    ],
)
def test_a_pair_in_one_cell(cell: str, point: str, against: str) -> None:
    row = one(f'"{cell}",0.6 V dc')
    assert (row.point, row.against, row.value) == (point, against, 0.6)


@pytest.mark.parametrize("heading", ["against", "Ref", "other lead", "to", "across"])
def test_the_other_lead_in_a_column(heading: str) -> None:
    row = one("Q5 b,0.6 V dc,q5 E", f"point,value,{heading}")
    assert (row.point, row.against) == ("Q5 base", "Q5 emitter")
    assert one("Q5 b,0.6 V dc,gnd", f"point,value,{heading}").against == ""


def test_the_whole_cell_is_one_point_first() -> None:
    unit = replace(ONE_CHANNEL, points=(*ONE_CHANNEL.points, TestPoint("Q5 base to TP4", "x/y")))
    row = one("Q5 base to TP4,0.6 V dc", unit=unit)
    assert (row.point, row.against) == ("Q5 base to TP4", "")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("TP4 to tp-4,1 V dc,", "both leads are on TP4"),
        ("TP4,1 V dc,TP4", "both leads are on TP4"),
        ("TP4 to TP5,1 V dc,", "no test point 'TP5'"),
        ("Q5 base to Q5 emitter,1 V dc,TP4", "which is it"),
        ("Q5 base,1 V dc,TP5", "no test point 'TP5'"),
        ("Q5 b-e,can't reach,", "which of the two leads"),
        ("U2-9,1 V dc,", "no test point 'U2-9'"),
        ("U2 pin 7-1,1 V dc,", "no test point"),
    ],
)
def test_pairs_that_are_none(line: str, message: str) -> None:
    said = refused(f"point,value,against\n{line}\n")
    assert "line 2" in said
    assert message in said


def test_both_leads_are_in_one_channel() -> None:
    row = one("Q105 base to Q105 emitter,0.6 V dc", unit=TWO_ZONES)
    assert (row.point, row.against, row.channel) == ("Q5 base", "Q5 emitter", "Zone B")
    said = refused("point,value,channel\nQ105 b-e,0.6 V dc,Zone A\n", TWO_ZONES)
    assert "Zone B, but the channel column says Zone A" in said


def test_an_oscilloscopes_clip_is_earthed() -> None:
    """Common practice, no source: a mains oscilloscope's ground clip is its protective earth."""
    (warning,) = taken("point,value\nQ5 base-emitter,0.6 V dc\n").warnings
    assert "line 2" in warning
    assert "on Q5 emitter it shorts that to earth" in warning
    assert not taken(f"{METER}point,value\nQ5 base-emitter,0.6 V dc\n").warnings
    assert not taken("point,value\nQ5 base to ground,0.6 V dc\n").warnings


def test_a_pair_is_another_place_than_its_point() -> None:
    text = f"{METER}point,value,against\nQ5 base,0.6 V dc,\nQ5 base,0.6 V dc,Q5 emitter\n"
    assert not taken(text).warnings
    assert "read before" in taken(f"{text}Q5 base,0.7 V dc,Q5 e\n").warnings[0]
