"""Currents in rails, mains watts, and signs that are seen or not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain.readings.typed import place_cells
from tests.readings.example import ONE_CHANNEL, TWO_ZONES
from tests.readings.test_read import one, refused, taken

HEAD = "point,quantity,value,channel,instrument"


@pytest.mark.parametrize("place", ["VPP", "vpp rail", "at F1", "F1", "in the VPP supply", "+28 V", "28 V rail"])
def test_a_current_is_read_in_a_rail(place: str) -> None:
    row = one(f"{place},current,120 mA,,", HEAD, TWO_ZONES)
    assert (row.point, row.quantity, row.channel, row.value) == ("VPP", "current", "", 0.12)
    assert (row.instrument, row.frequency) == ("dmm-trms", None)


@pytest.mark.parametrize("value", ["120 mA", "0.12 A", "0,12 amps", "-120 mA", "120mA dc", "120000 µA"])
def test_a_current_by_its_size(value: str) -> None:
    row = one(f'VNN,"{value}"', unit=TWO_ZONES)
    assert (row.point, row.quantity) == ("VNN", "current")
    assert row.value == pytest.approx(0.12)


@pytest.mark.parametrize(("unit", "value", "si"), [("mA", "120", 0.12), ("amps", "0.12", 0.12), ("watts", "23", 23.0)])
def test_the_unit_in_the_quantity_or_the_heading(unit: str, value: str, si: float) -> None:
    place = "mains" if unit == "watts" else "VPP"
    assert one(f"{place},{unit},{value},,", HEAD).value == pytest.approx(si)
    assert one(f"{place},{value}", f"point,value ({unit})").value == pytest.approx(si)


@pytest.mark.parametrize(
    ("typed", "cells"),
    [
        ("VPP, current", {"test point": "VPP", "quantity": "current"}),
        ("VPP rail, current", {"test point": "VPP rail", "quantity": "current"}),
        ("mains, mains watts", {"test point": "mains", "quantity": "mains watts"}),
    ],
)
def test_a_rail_and_the_mains_are_places_at_the_prompt_too(typed: str, cells: dict[str, str]) -> None:
    assert place_cells(TWO_ZONES, typed) == cells


def test_a_blown_fuse() -> None:
    assert one("F1,current,0 A,,", HEAD).word == "nothing"
    assert one("F1,current,nothing,,", HEAD).word == "nothing"
    row = one("F1,<5 mA")
    assert (row.quantity, row.below, row.value) == ("current", True, 5e-3)


@pytest.mark.parametrize("place", ["mains", "", "plug", "At the mains"])
@pytest.mark.parametrize("quantity", ["mains watts", "power", "W", ""])
def test_mains_watts(place: str, quantity: str) -> None:
    row = one(f"{place},{quantity},23 W,,", HEAD, TWO_ZONES)
    assert (row.point, row.quantity, row.channel, row.value) == ("mains", "mains watts", "", 23.0)
    assert row.instrument == "mains-meter"


def test_the_instrument_has_to_read_it() -> None:
    assert one("VPP,current,120 mA,,dmm-average", HEAD).instrument == "dmm-average"
    assert "scope-x10 (oscilloscope, x10 probe) doesn't read current" in refused(f"{HEAD}\nVPP,current,1 A,,scope\n")
    assert "doesn't read level" in refused(f"{HEAD}\nTP4,level,1 V rms,,power meter\n")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("TP4,current,120 mA,,", "no rail 'TP4'"),
        ("VPPP,current,120 mA,,", "Did you mean VPP"),
        ("TP4,mains watts,23 W,,", "not at 'TP4'"),
        ("VPP,current,120,,", "Write the unit"),
        ("VPP,current,5000 A,,", "more than 1000 A"),
        ("mains,mains watts,90 kW,,", "more than 20000 W"),
        ("VPP,current,low,,", "can't be said of current"),
        ("VPP,current,3 V,,", "no current"),
        ("VPP,level,1 Vpp,,", "no test point 'VPP'"),
    ],
)
def test_what_is_no_reading_of_the_unit(line: str, message: str) -> None:
    assert message in refused(f"{HEAD}\n{line}\n")


def test_a_unit_without_rails_has_no_currents() -> None:
    assert "names none" in refused("point,value\nVPP,1 A\n", replace(ONE_CHANNEL, rails=()))


def test_the_channel_of_a_current_is_not_used_and_said() -> None:
    readings = taken(f"{HEAD}\nVPP,current,120 mA,Zone B,\n", TWO_ZONES)
    assert readings.rows[0].channel == ""
    assert "line 2: current is that of the whole unit, not of Zone B" in readings.warnings[0]
    assert not taken("# channel: Zone B\npoint,value\nVPP,120 mA\n", TWO_ZONES).warnings


@pytest.mark.parametrize(
    ("quantity", "value", "expected"),
    [
        ("level", "buzz", ("hum", "seen")),
        ("", "loud hum", ("hum", "seen")),
        ("", "no hum", ("hum", "not seen")),
        ("", "motorboating", ("oscillation", "seen")),
        ("hum", "yes", ("hum", "seen")),
        ("hum", "none heard", ("hum", "not seen")),
        ("noise", "nothing", ("noise", "not seen")),
        ("noise", "loud", ("noise", "seen")),
        ("oscillation", "present", ("oscillation", "seen")),
        ("oscillation", "absent", ("oscillation", "not seen")),
        ("level", "fuzzy", ("level", "fuzzy")),
        ("level", "oscillating", ("level", "fuzzy")),
    ],
)
def test_signs(quantity: str, value: str, expected: tuple[str, str]) -> None:
    row = one(f"TP4,{quantity},{value},,", HEAD)
    assert (row.quantity, row.word) == expected
    assert row.value is None
    assert row.point == "TP4"


def test_a_sign_may_be_of_the_whole_channel_or_of_all() -> None:
    row = one(",hum,seen,Zone B,", HEAD, TWO_ZONES)
    assert (row.point, row.channel, row.frequency) == ("", "Zone B", None)
    assert one(",hum,seen,both,", HEAD, TWO_ZONES).channel == ""
    assert "which channel" in refused(f"{HEAD}\n,hum,seen,,\n", TWO_ZONES)
    assert "not in all" in refused(f"{HEAD}\nTP4,level,1 Vpp,all,\n", TWO_ZONES)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (",,yes,,", "of what? Write noise, oscillation or hum"),
        ("TP4,noise,hum,,", "give it a line of its own"),
        ("TP4,hum,low,,", "can't be said of hum"),
        ("TP4,hum,same as good,,", "can't be said of hum"),
        ("TP4,hum,perhaps,,", "write seen or not seen"),
        (",level,nothing,,", "names no test point"),
    ],
)
def test_what_is_no_sign(line: str, message: str) -> None:
    assert message in refused(f"{HEAD}\n{line}\n")


def test_a_number_for_a_sign_is_left_out_and_said() -> None:
    readings = taken(f"{HEAD}\nTP4,hum,5 mV,,\nTP4,level,1 Vpp,,\n")
    assert len(readings.rows) == 1
    assert "line 2: hum is compared as seen or not seen" in readings.warnings[0]


@pytest.mark.parametrize("place", ["VPP", "VPP rail", "at F1"])
def test_dc_of_a_rail_is_told_to_be_none_of_what_is_compared(place: str) -> None:
    said = refused(f"{HEAD}\n{place},dc,28 V,Zone A,", TWO_ZONES)
    assert "supply rail" in said
    assert "--suspect VPP" in said
