"""POLY and TABLE sources against closed forms."""

from __future__ import annotations

import pytest

from lostgain.engine import Session
from lostgain.engine.plain import plain_sources

DRIVE = ["v1 a 0 2", "v2 b 0 3", "r1 a 0 1k", "r2 b 0 1k"]


def volts(*lines: str) -> float:
    session = Session()
    session.load(plain_sources([*DRIVE, *lines, "rload out 0 1k"]))
    return float(session.op(["out"])[0])


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        ("e1 out 0 poly(1) a 0 5", 5 * 2),
        ("E1 out 0 POLY(1) a 0 1 5", 1 + 5 * 2),
        ("e1 out 0 poly(1) a 0 1 5 0.5", 1 + 10 + 0.5 * 4),
        ("e1 out 0 POLY(2) a 0 b 0 0 1 10", 2 + 30),
        ("e1 out 0 poly (2) (a,0) (b,0) 0 0 0 0 1", 2 * 3),
        ("e1 out 0 poly(2) a 0 b 0 0 0 0 1 0 1", 4 + 9),
        ("g1 0 out poly(1) a 0 0 1m", 2e-3 * 1e3),
        ("h1 out 0 poly(1) v1 0 1k", -2.0),
        ("f1 0 out poly(2) v1 v2 0 1 1", -(2e-3 + 3e-3) * 1e3),
        ("e1 out 0 table {v(a)} = (0,0) (1,10) (3,30)", 20.0),
        ("e1 out 0 TABLE {V(b,a)} (-1,-5) (1,5)", 5.0),
    ],
)
def test_against_closed_forms(source: str, wanted: float) -> None:
    assert volts(source) == pytest.approx(wanted, rel=1e-4)


def test_other_lines_are_left_alone() -> None:
    lines = ["e1 out 0 a b 10", "r1 a b 1k", "epoly out 0 a 0 1", ".model poly npn(bf=1)"]
    assert plain_sources(lines) == lines
