"""A unit described by hand, for the tests of readings: invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lostgain.unit.model import Channel, Rail, TestPoint, Unit
from lostgain.unit.setup_model import Setup

POINTS = (
    "Input",
    "U2 pin 1",
    "U2 pin 7",
    "R14, hot end",
    "Q5 base",
    "TP4",
    "C7 +",
    "C7 -",
    "Q5 emitter",
    "R23, Q7 end",
)

TWO_ZONES = Unit(
    name="two-zone",
    title="Two zones, invented",
    invented=True,
    folder=Path("no-such-folder"),
    file=Path("no-such-folder/unit.toml"),
    stages=(),
    parts={},
    points=tuple(TestPoint(name, f"stage/{index}") for index, name in enumerate(POINTS)),
    channels=(
        Channel("Zone A"),
        Channel("Zone B", {"U2A": "U102A", "U2B": "U102B", "R14": "R114", "Q5": "Q105", "C7": "C107"}),
    ),
    rails=(Rail("VPP", 28.0, fuse="F1"), Rail("VNN", -28.0, fuse="F2"), Rail("VP", 15.0)),
    setup=Setup(generator=0.2),
)

ONE_CHANNEL = replace(TWO_ZONES, channels=(Channel("main"),))
THREE_ZONES = replace(TWO_ZONES, channels=(Channel("Zone A"), Channel("Zone B"), Channel("Zone C")))
