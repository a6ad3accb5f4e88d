"""The endurance benchmark counts what is not as it must be, and finds growth where there is some."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from benchmarks.endurance import drawn, endurance, growth, judged
from benchmarks.endurance_task import SORTS, Ran
from lostgain.engine import Outcome

WELL = Outcome(Ran(1, 40.0, True))


@pytest.mark.parametrize(
    ("sort", "outcome", "right"),
    [
        ("healthy", WELL, True),
        ("healthy", Outcome(Ran(1, 40.0, False)), False),
        ("healthy", Outcome(None, "ngspice found no solution"), False),
        ("faulty", Outcome(None, "ngspice found no solution"), True),
        ("faulty", Outcome(None, "the simulation took longer than 3 s"), False),
        ("killed", Outcome(None, "the simulation ended its process (signal 9)"), True),
        ("killed", WELL, False),
        ("hangs", Outcome(None, "the simulation took longer than 3 s"), True),
        ("hangs", Outcome(None, "the simulation ended its process (signal 9)"), False),
    ],
)
def test_what_an_item_must_come_to(sort: str, outcome: Outcome, right: bool) -> None:
    assert judged(sort, outcome)[1] is right


def test_second_half_leaves_the_workers_alone() -> None:
    items = drawn(20_000, 1, "")
    assert items == drawn(20_000, 1, "")
    assert [item.number for item in items] == list(range(20_000))
    first, second = (Counter(item.sort for item in half) for half in (items[:10_000], items[10_000:]))
    assert first.keys() == SORTS.keys()
    assert second.keys() == {"healthy", "faulty", "no solution", "refused"}


def test_growth() -> None:
    assert growth([50.0] * 100) == 0
    assert growth([50.0 + 0.1 * n for n in range(100)]) == pytest.approx(8.0)


def test_a_short_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "bench-endurance.json"
    figures = endurance(120, 2, 5, out, lambda line: None)
    assert json.loads(out.read_text()) == figures
    assert (figures["accounted"], figures["strange"], figures["processes_left"]) == (120, [], 0)
    assert "120 circuits through one pool of 2" in capsys.readouterr().out
