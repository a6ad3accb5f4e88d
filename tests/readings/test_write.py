"""What is written reads back the same."""

from __future__ import annotations

import math
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.problems import Where
from lostgain.readings import SIGNS, STATES, WHOLE_UNIT, Reading, Readings, read, words, write
from lostgain.readings.model import OFF
from lostgain.unit.model import Unit
from tests.readings.example import POINTS, TWO_ZONES

CHANNELS = ("Zone A", "Zone B")

pairs = st.tuples(st.sampled_from(POINTS), st.sampled_from(["", *POINTS])).filter(lambda pair: pair[0] != pair[1])


@st.composite
def numbers(draw: st.DrawFn) -> Reading:
    """Draw a reading with a number."""
    quantity = draw(st.sampled_from(["level", "dc"]))
    limit = draw(st.sampled_from(["", "below", "above"]))
    least = 1e-6 if quantity == "level" or limit else -500.0
    point, against = draw(pairs)
    return Reading(
        point=point,
        against=against,
        quantity=quantity,
        channel=draw(st.sampled_from(CHANNELS)),
        value=draw(st.floats(least, 500.0)) or 1.0,
        given_as=draw(st.sampled_from(["rms", "pp", "peak"])) if quantity == "level" else "rms",
        frequency=draw(st.sampled_from([500.0, 40.0, 10e3, 123.4])) if quantity == "level" else None,
        generator=draw(st.sampled_from([None, 0.02, 3.0, 0.123456789])) if quantity == "level" else None,
        instrument=draw(st.sampled_from(["scope-x10", "scope-x1", "dmm-trms", "dmm-average"])),
        below=limit == "below",
        above=limit == "above",
        text=draw(st.sampled_from(["", "1.2 Vpp", "nonsense"])),
        note=draw(st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=20)).strip(),
    )


@st.composite
def of_the_unit(draw: st.DrawFn) -> Reading:
    """Draw a current or mains watts."""
    quantity = draw(st.sampled_from(WHOLE_UNIT))
    current = quantity == "current"
    limit = draw(st.sampled_from(["", "below", "above"]))
    return Reading(
        point=draw(st.sampled_from([rail.name for rail in TWO_ZONES.rails])) if current else "mains",
        quantity=quantity,
        channel="",
        value=draw(st.floats(1e-6, 500.0)),
        instrument=draw(st.sampled_from(["dmm-trms", "dmm-average"])) if current else "mains-meter",
        below=limit == "below",
        above=limit == "above",
        text=draw(st.sampled_from(["", "120 mA", "23 W", "nonsense"])),
    )


@st.composite
def in_words(draw: st.DrawFn) -> Reading:
    """Draw a reading in words."""
    word = words()[draw(st.sampled_from(sorted(words())))]
    quantity = draw(st.sampled_from([each for each in word.quantities if each not in (*WHOLE_UNIT, *OFF)]))
    point, against = draw(pairs)
    sign = quantity in SIGNS
    return Reading(
        point="" if sign and draw(st.booleans()) else point,
        against="" if sign else against,
        quantity=quantity,
        channel="" if sign and draw(st.booleans()) else "Zone B",  # "same as good" needs Zone A to be the good one
        word=word.name,
        frequency=500.0 if quantity == "level" else None,
    )


states = st.sampled_from(["", *STATES])
unreachable = st.lists(st.tuples(st.sampled_from(POINTS), st.sampled_from(["", *CHANNELS])), unique=True, max_size=3)


@given(
    st.lists(st.one_of(numbers(), in_words(), of_the_unit()), min_size=1, max_size=6),
    unreachable,
    states,
    st.sampled_from([None, TWO_ZONES]),
)
def test_write_then_read(rows: list[Reading], away: list[tuple[str, str]], state: str, unit: Unit | None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write(path, Readings(tuple(rows), unreachable=tuple(away), good="Zone A", state=state), unit)
        back = read(path, TWO_ZONES)
    if unit is not None:
        assert not any("Zone A calls it" in warning for warning in back.warnings)
    assert (back.good, back.state) == ("Zone A", state)
    assert back.unreachable == tuple(away)
    assert len(back.rows) == len(rows)
    for was, now in zip(rows, back.rows, strict=True):
        plain = {"text": "", "where": Where(), "value": None}
        assert replace(now, **plain) == replace(was, **plain)
        if was.value is None:
            assert now.value is None
        else:
            assert now.value is not None
            assert math.isclose(now.value, was.value, rel_tol=1e-12)


def test_a_value_stays_as_it_was_typed(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("point;value;channel\nTP4;1,2 Vpp;Zone A\nTP4;weak;Zone B\n", encoding="utf-8")
    first = read(path, TWO_ZONES)
    write(tmp_path / "b.csv", first)
    written = (tmp_path / "b.csv").read_text(encoding="utf-8")
    assert '"1,2 Vpp"' in written
    assert "weak" in written
    assert [row.text for row in read(tmp_path / "b.csv", TWO_ZONES).rows] == ["1,2 Vpp", "weak"]


def test_a_value_that_no_longer_says_the_same_is_written_anew(tmp_path: Path) -> None:
    row = Reading("TP4", "level", "Zone A", value=0.5, frequency=500.0, text="1.2 Vpp")
    write(tmp_path / "a.csv", Readings((row,)))
    assert read(tmp_path / "a.csv", TWO_ZONES).rows[0].value == pytest.approx(0.5)


def test_a_test_point_may_start_with_the_comment_sign(tmp_path: Path) -> None:
    point = replace(TWO_ZONES.points[0], name="#3 out")
    row = Reading("#3 out", "level", "Zone A", value=0.5, frequency=500.0)
    write(tmp_path / "a.csv", Readings((row,)))
    assert read(tmp_path / "a.csv", replace(TWO_ZONES, points=(point,))).rows[0].point == "#3 out"
