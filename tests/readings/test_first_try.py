"""What somebody types who has not read the documents: taken as it was meant, or told what to type instead."""

from __future__ import annotations

from pathlib import Path

import pytest

import lostgain
from lostgain.problems import UserError
from lostgain.readings.fits import refuse_unsimulated
from lostgain.unit.model import Unit

HEAD = "test point,quantity,value,frequency,channel\n"


@pytest.fixture(scope="module")
def unit() -> Unit:
    return lostgain.open_unit(Path(__file__).parents[1] / "units" / "chain")


def read(unit: Unit, folder: Path, text: str) -> lostgain.Readings:
    path = folder / "taken.csv"
    path.write_text(text, encoding="utf-8")
    return lostgain.read_readings(path, unit)


def refused(unit: Unit, folder: Path, text: str) -> str:
    with pytest.raises(UserError) as caught:
        refuse_unsimulated(read(unit, folder, text), unit)
    return str(caught.value).replace(f"{folder / 'taken.csv'}", "FILE")


def test_readings_at_another_frequency_are_warned_of_once_and_with_what_to_do(unit: Unit, tmp_path: Path) -> None:
    lines = "".join(f"{point},level,1 Vpp,1 kHz,Up line\n" for point in ("J1 hot", "U1 pin 3", "U1 pin 1"))
    found = read(unit, tmp_path, f"{HEAD}{lines}TP4,level,1 Vpp,500 Hz,Up line\nTP4,level,1 Vpp,777 Hz,Up line\n")
    first, second = found.warnings
    assert "line 2, 3, 4: 1 kHz is none of the set-up's frequencies (500 Hz, 40 Hz, 10 kHz)" in first
    assert "put this one into frequencies under [setup] in the unit file" in first
    assert "line 6: 777 Hz" in second


def test_ripple_of_a_unit_without_a_supply_is_refused_before_anything_is_simulated(unit: Unit, tmp_path: Path) -> None:
    said = refused(unit, tmp_path, f"{HEAD}U1 pin 1,ripple,3 mV,,Up line\n")
    assert "FILE, line 2: ripple is known only where the unit file describes the supply" in said
    refuse_unsimulated(read(unit, tmp_path, f"{HEAD}U1 pin 1,ripple,3 mV,,Up line\nTP4,dc,0 V,,Up line\n"), unit)


def test_a_file_in_which_all_was_left_out_says_why(unit: Unit, tmp_path: Path) -> None:
    said = refused(unit, tmp_path, f"{HEAD}U1 pin 1,hum,3 mV rms,,Up line\n")
    assert "no reading in this file that can be used" in said
    assert "line 2: hum is compared as seen or not seen" in said


@pytest.mark.parametrize(
    ("line", "quantity"),
    [
        ("TP4,level,no voltage,,Up line", "level"),
        ("TP4,dc,no voltage,,Up line", "dc"),
        ("TP4,dc,No volts.,,Up line", "dc"),
        ("TP4,,no dc,,Up line", "dc"),
        ("TP4,,no signal,,Up line", "level"),
        ("VN,,no current,,", "current"),
    ],
)
def test_nothing_by_other_names(unit: Unit, tmp_path: Path, line: str, quantity: str) -> None:
    row = read(unit, tmp_path, f"{HEAD}{line}\n").rows[0]
    assert (row.quantity, row.word) == (quantity, "nothing")


def test_no_voltage_of_what(unit: Unit, tmp_path: Path) -> None:
    said = refused(unit, tmp_path, f"{HEAD}TP4,,no voltage,,Up line\n")
    assert "FILE, line 2: 'no voltage': of what? Write dc or level in the quantity column" in said


@pytest.mark.parametrize("parts", ["1,2 Vpp", "0,35 mV rms", "-18,5 dBu", "> 1,2 V"])
def test_a_decimal_comma_between_commas(unit: Unit, tmp_path: Path, parts: str) -> None:
    head = HEAD.replace("channel", "channel,instrument")
    said = refused(unit, tmp_path, f"{head}TP4,level,{parts},,Up line\n")
    assert said.startswith(f"FILE, line 2: a decimal comma parts '{parts}' into two cells.")
    assert len(said.splitlines()) == 1
    assert f'"{parts}" in quotes' in said


def test_what_follows_a_whole_number_is_not_always_its_decimals(unit: Unit, tmp_path: Path) -> None:
    text = "test point,value (mV rms),note,channel\nTP4,12,8 V,Up line\n"
    assert read(unit, tmp_path, text).rows[0].value == pytest.approx(0.012)


def test_a_setting_of_the_whole_file_is_set_once(unit: Unit, tmp_path: Path) -> None:
    said = refused(unit, tmp_path, f"# channel: Up line\n{HEAD}TP4,dc,0 V,,\n# channel: Down line\nTP104,dc,0 V,,\n")
    assert "FILE, line 4: line 1 sets '# channel: Up line' for the whole file, and this one Down line." in said
    said = refused(unit, tmp_path, f"# good channel: Up line\n# good channel: Down line\n{HEAD}TP4,dc,0 V,,Up line\n")
    assert "FILE, line 2: line 1 sets '# good channel: Up line'" in said
    twice = f"# good channel: Up line\n# Good channel: up line\n{HEAD}TP104,dc,0 V,,Down line\n"
    assert read(unit, tmp_path, twice).good == "Up line"


def test_an_instrument_unlike_any_other(unit: Unit, tmp_path: Path) -> None:
    said = refused(unit, tmp_path, "test point,value,channel,instrument\nTP4,1 Vpp,Up line,Zone A\n")
    assert "Instruments: scope-x10, scope-x1, dmm-trms" in said


def test_no_file_at_all(unit: Unit) -> None:
    with pytest.raises(UserError, match="say which readings file"):
        lostgain.read_readings("", unit)
