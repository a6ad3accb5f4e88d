"""Followed from reading to reading: figures of made-up walks, and a small bench on which every policy walks."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from benchmarks import isolate as isolating
from benchmarks.accuracy import _plain
from benchmarks.follow import State
from benchmarks.isolate import Isolated, first_reading, isolate
from benchmarks.optimum import beside, small
from benchmarks.score_isolated import beside_optimum, isolated
from benchmarks.truth import Truth
from benchmarks.walks import _nearest
from lostgain.diagnosis.candidates import Candidate
from lostgain.diagnosis.features import Feature
from lostgain.faults import Fault, rates
from lostgain.readings import Reading, Readings
from tests.diagnosis.megaphone import megaphone, taken


def sheet(label: str) -> Readings:
    """Everything that a draw of a row of the megaphone's table reads, with ideal instruments."""
    return Readings(tuple(taken(label)))


def truth(part: str, mode: str) -> Truth:
    return Truth("fault", Fault(part, mode, None, ""), ("",))


def test_every_policy_starts_at_the_output_and_reads_the_same_values() -> None:
    table, whole = megaphone(), sheet("R6 open")
    start = first_reading(table.circuit, whole)
    assert start is not None
    assert table.circuit.points[start.point] == table.circuit.output
    assert (start.quantity, start.frequency) == ("level", sorted(table.frequencies)[1])
    found = isolate(table, (truth("R6", "open"), whole))
    assert set(found) == {"next", "walk", "halves"}
    assert all(each.right and each.stop in ("sure", "alike", "idle") for each in found.values())
    assert found == isolate(table, (truth("R6", "open"), whole)), "the same again"


def test_next_comes_to_what_a_walk_stops_short_of() -> None:
    """R5 feeds the second half of U1: by the levels that a walk reads first, U1 may be it as well."""
    found = isolate(megaphone(), (truth("R5", "open"), sheet("R5 open")))
    assert found["next"].right
    assert found["next"].stop == "sure"
    assert all(found[name].right or found[name].stop == "alike" for name in ("walk", "halves"))


def test_another_part_is_named_than_failed() -> None:
    found = isolate(megaphone(), (truth("R1", "open"), sheet("R5 open")))
    assert not any(each.right for each in found.values())


def test_without_the_first_reading_a_case_is_not_followed() -> None:
    table, whole = megaphone(), sheet("R5 open")
    start = first_reading(table.circuit, whole)
    rest = replace(whole, rows=tuple(row for row in whole.rows if row != start))
    assert isolate(table, (truth("R5", "open"), rest)) == {}
    assert isolated([{}]) == {}


def walks(minutes: tuple[float, float, float], right: bool = True) -> dict[str, Isolated]:
    return {name: Isolated(int(2 * each), each, "sure", right)
            for name, each in zip(isolating.POLICIES, minutes, strict=True)}  # fmt: skip


def test_figures_of_known_walks() -> None:
    """Two minutes and six beside ten and ten: 4 beside 10, so 0.4; not the mean of the cases' own ratios."""
    found = isolated([walks((2.0, 10.0, 4.0)), walks((6.0, 10.0, 4.0), right=False), {}])
    value = {key: each["next"].value for key, each in found.items() if isinstance(each, dict) and "next" in each
             and key != "stopped_by"}  # fmt: skip
    assert value == {"readings_to_isolate": 8.0, "minutes_to_isolate": 4.0, "right_when_isolated": 0.5}
    assert found["minutes_ratio"]["next/walk"].value == pytest.approx(0.4)
    assert found["minutes_ratio"]["next/halves"].value == pytest.approx(1.0)
    assert found["minutes_ratio"]["next/walk"].cases == 2
    assert found["stopped_by"]["next"] == {"sure": 2}
    assert json.loads(json.dumps(_plain(found)))["minutes_to_isolate"]["walk"]["value"] == 10.0


def test_ratio_is_paired_by_case() -> None:
    """However different the cases are, twice the minutes on each is twice the minutes, without any spread."""
    found = isolated([walks((each, 2 * each, each)) for each in (0.5, 3.0, 11.0, 1.0)])
    ratio = found["minutes_ratio"]["next/walk"]
    assert (ratio.value, ratio.low, ratio.high) == pytest.approx((0.5, 0.5, 0.5))


def test_a_walk_turns_the_generator_down_last() -> None:
    first = megaphone().points[0]
    usual = Reading(first, "level", "Port", frequency=500.0)
    far, quiet = (Candidate(each, Feature(0, 0), minutes, 2.0) for each, minutes in (
        (usual, 2.0), (replace(usual, generator=0.01), 0.25)))  # fmt: skip
    state = State(megaphone(), Readings(()), (quiet, far), rates("bench"))
    assert _nearest(state) is far
    assert _nearest(replace(state, left=(quiet,))) is quiet


def test_no_policy_beats_the_optimum_on_a_case() -> None:
    table = megaphone()
    few = [point.name for point in table.circuit.unit.points][:2]
    found = beside(table, (truth("C1", "lost"), sheet("C1 lost 0.01")), few)
    assert set(found) == {"optimal", "next", "lookahead", "in order"}
    assert all(minutes >= found["optimal"][0] - 1e-9 for minutes, _, _ in found.values())
    assert all(0 < right <= 1 + 1e-9 for _, _, right in found.values())
    figures = beside_optimum([found, {}])
    assert figures["minutes_ratio"]["next/optimal"].value >= 1 - 1e-9
    assert set(figures["right"]) == set(found)


def test_a_unit_of_many_points_is_not_searched() -> None:
    assert not small(megaphone().circuit)
