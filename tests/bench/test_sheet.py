from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.bench.healthy import as_read, next_step, output_level, output_point, picture, spread
from lostgain.bench.sheet import sheet
from lostgain.bench.sheet_model import Range, Sheet
from lostgain.bench.steps import rail_range
from lostgain.readings.model import Instrument
from lostgain.signatures import Table
from lostgain.unit.model import Rail
from tests.bench.build import DRAWS, UNITS, healthy_table

HALL = Path(__file__).parent / "units" / "hall"


@pytest.fixture(scope="module")
def hall() -> Table:
    return healthy_table(HALL)


@pytest.fixture(scope="module")
def hall_sheet(hall: Table) -> Sheet:
    return sheet(hall)


@pytest.fixture(scope="module")
def chain_sheet() -> Sheet:
    return sheet(healthy_table(UNITS / "chain"))


def places(sheet: Sheet, number: int) -> list[str]:
    return [row.names[0] for row in sheet.steps[number].rows]


def test_the_steps_come_in_the_order_of_the_bench(hall_sheet: Sheet) -> None:
    titles = [step.title for step in hall_sheet.steps]
    assert [title.split()[0] for title in titles] == ["Power", "On", "DC", "Signal"]


@pytest.mark.parametrize("path", [UNITS / "chain", UNITS / "mixed", UNITS / "filter", HALL], ids=lambda path: path.name)
def test_every_point_in_reach_comes_once_in_dc_and_once_in_signal(path: Path) -> None:
    table = healthy_table(path)
    made = sheet(table)
    reached = [point.name for point in table.circuit.unit.points if point.reach]
    for number in (-2, -1):
        assert sorted(places(made, number)) == sorted(reached)
    for step in made.steps:
        assert len(step.rows) == len({row.names for row in step.rows}), "a place is probed once in a step"


def test_the_probe_stays_where_it_is_from_step_to_step(hall_sheet: Sheet) -> None:
    for before, after in ((1, 2), (2, 3)):
        assert places(hall_sheet, before)[-1] == places(hall_sheet, after)[0]


def test_all_frequencies_are_read_with_the_probe_left_in_place(hall_sheet: Sheet) -> None:
    for row in hall_sheet.steps[-1].rows:
        assert [one.frequency for one in row.expected] == [500.0, 40.0, 10e3]


def test_points_out_of_reach_are_listed_with_their_neighbours(hall_sheet: Sheet) -> None:
    (only,) = hall_sheet.out_of_reach
    assert only.names == ("R23, Q7 end", "R123, Q107 end")
    assert only.instead == ("C11, plus end", "TP1")
    assert all("R23, Q7 end" not in places(hall_sheet, number) for number in range(4))


def test_the_second_channel_has_its_own_designators(chain_sheet: Sheet) -> None:
    names = {row.names for row in chain_sheet.steps[-1].rows}
    assert ("U1 pin 1", "U101 pin 1") in names
    assert ("J1 hot", "J2 hot") in names
    # what the channels share stands there once
    assert [row.names for row in chain_sheet.steps[0].rows] == [("C301",), ("F1",)]


def test_reservoirs_fuses_and_output_devices_are_checked_with_the_power_off(hall_sheet: Sheet) -> None:
    assert places(hall_sheet, 0) == ["C201", "F1", "F2", "Q7", "Q8", "R23", "R24"]
    assert all(one.quantity == "check" and one.text for row in hall_sheet.steps[0].rows for one in row.expected)


def test_rails_and_the_outputs_dc_come_first_with_power_on(hall_sheet: Sheet) -> None:
    # the relay may be open when the DC is wrong, so the point ahead of it is read too
    assert places(hall_sheet, 1) == ["rail VP", "rail VN", "TP1", "SP1 plus"]
    assert {one.quantity for row in hall_sheet.steps[1].rows for one in row.expected} == {"dc"}


def test_ranges_hold_the_nominal_value_and_have_a_width(hall_sheet: Sheet) -> None:
    ranges = [one.volts for step in hall_sheet.steps for row in step.rows for one in row.expected if one.volts]
    assert len(ranges) > 15
    for volts in ranges:
        assert volts.low <= volts.nominal <= volts.high
    assert any(volts.high > 1.01 * volts.low > 0 for volts in ranges)


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=60))
def test_a_range_is_the_percentiles_widened_to_the_nominal(samples: list[float]) -> None:
    found = spread(np.array(samples))
    low, high = np.percentile(samples[1:], [5, 95])
    assert found.low == min(low, samples[0])
    assert found.high == max(high, samples[0])


def test_every_level_has_a_range_also_where_the_generator_sets_it(hall_sheet: Sheet, chain_sheet: Sheet) -> None:
    for made in (hall_sheet, chain_sheet):
        read = [one for row in made.steps[-1].rows for one in row.expected]
        levels = [one.volts for one in read if one.volts and one.volts.nominal > one.floor]
        assert levels
        for volts in levels:
            assert volts.high > 1.005 * volts.low


@pytest.mark.parametrize("quantity", ["level", "dc"])
@given(nominal=st.floats(0, 100), down=st.floats(0, 10), up=st.floats(0, 10))
def test_a_reading_spreads_as_unit_and_instrument(quantity: str, nominal: float, down: float, up: float) -> None:
    meter = Instrument("meter", "invented", ("level", "dc"), scale_error=0.03, read_error=0.04, zero_error=0.01)
    found = as_read(Range(nominal, nominal - down, nominal + up), meter, quantity)
    error = 1.645 * (nominal * 0.05 if quantity == "level" else np.hypot(nominal * 0.05, 0.01))
    assert found.nominal == nominal
    assert found.high == pytest.approx(nominal + np.hypot(up, error))
    low = nominal - np.hypot(down, error)
    assert found.low == pytest.approx(max(low, 0.0) if quantity == "level" else low)


def test_what_was_not_computed_stays_so() -> None:
    assert np.isnan(spread(np.array([np.nan, 1.0, 2.0])).nominal)
    assert spread(np.array([1.0, np.nan, np.nan])).high == 1.0


def test_the_numbers_are_the_healthy_row(chain_sheet: Sheet) -> None:
    row = next(row for row in chain_sheet.steps[-1].rows if row.names[0] == "U1 pin 1")
    first = row.expected[0]
    assert first.volts is not None
    assert first.swing is not None
    # 200 mV · 11, Horowitz and Hill, 3rd ed., section 4.2.2; a sine's peak to peak is 2√2 of its rms value
    assert first.volts.nominal == pytest.approx(2.2, rel=0.01)
    assert first.swing.nominal == pytest.approx(2.2 * 2**1.5, rel=0.01)


def test_the_picture_fits_the_screen_of_an_oscilloscope(hall_sheet: Sheet) -> None:
    shown = next(row.picture for row in hall_sheet.steps[-1].rows if row.names[0] == "TP1")
    assert shown is not None
    assert shown.seconds_a_division == pytest.approx(0.5e-3)  # two and a half cycles of 500 Hz
    across, up = zip(*shown.trace, strict=True)
    assert (min(across), max(across)) == (0.0, 10.0)
    assert 1.2 < max(up) <= 3.0
    assert -3.0 <= min(up) < -1.2
    row = next(row for row in hall_sheet.steps[-1].rows if row.names[0] == "TP1")
    assert row.expected[0].swing is not None
    swing = (max(up) - min(up)) * shown.volts_a_division
    assert swing == pytest.approx(row.expected[0].swing.nominal, rel=0.02)


def test_there_is_no_picture_of_nothing(hall: Table, hall_sheet: Sheet) -> None:
    assert next(row for row in hall_sheet.steps[-1].rows if row.names[0] == "C11, plus end").picture is None
    assert picture(hall, "TP1", floor=100.0) is None


@given(st.floats(1e-6, 1e3))
def test_next_step_is_a_knobs_next_position(value: float) -> None:
    step = next_step(value)
    assert value <= step * (1 + 1e-6)
    assert step < 2.51 * value
    assert f"{step:.0e}"[0] in "125"


def test_output_and_its_level(hall: Table) -> None:
    assert output_point(hall) == "SP1 plus"
    # 300 mV · (1 + 22k/1k) = 6.9 V less a tenth in the load path
    assert output_level(hall) == pytest.approx(6.88, rel=0.01)
    watts = next(text for name, text in sheet(hall).setup if name == "Dummy load")
    assert "rated 50 W; takes 5.9 W" in watts


def test_a_rails_range() -> None:
    # two standard deviations are the tolerance, so that the 95th percentile is 1.645/2 of it: 28 V · 6 % · 0.8225
    found = rail_range(Rail("VN", -28.0, tolerance=(-0.06, 0.06)))
    assert found.high == pytest.approx(-28 + 1.3818)
    assert found.low == pytest.approx(-28 - 1.3818)


def test_minutes_and_moves_add_up(hall_sheet: Sheet) -> None:
    signal = hall_sheet.steps[-1]
    assert signal.minutes == 2 * (1 + 1 + 3 + 1)
    assert signal.moves == 2 * 4
    assert hall_sheet.minutes == sum(step.minutes for step in hall_sheet.steps)


def test_the_notes_say_what_a_range_is(hall_sheet: Sheet) -> None:
    text = " ".join(hall_sheet.notes)
    assert f"5th to 95th percentile of {DRAWS} tolerance draws" in text
    assert "multimeter, true rms" in text


def test_a_frequency_outside_the_instrument_is_said(hall: Table) -> None:
    unit = hall.circuit.unit
    other = replace(unit, setup=replace(unit.setup, instrument="dmm-average"))
    text = " ".join(sheet(replace(hall, circuit=replace(hall.circuit, unit=other))).notes)
    assert "10 kHz lies outside" in text


def test_no_text_is_left_unfilled(hall_sheet: Sheet, chain_sheet: Sheet) -> None:
    for made in (hall_sheet, chain_sheet):
        texts = [text for step in made.steps for text in (step.title, *step.before, *step.after)]
        texts += [*made.notes, *(text for _, text in made.setup)]
        assert not [text for text in texts if "{" in text]
