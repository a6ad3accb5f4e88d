"""Readings files as technicians type them."""

from __future__ import annotations

import itertools
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.readings import Reading, Readings, read
from lostgain.unit.model import TestPoint, Unit
from tests.readings.example import ONE_CHANNEL, THREE_ZONES, TWO_ZONES


def taken(text: str | bytes, unit: Unit = ONE_CHANNEL) -> Readings:
    """Return what is read from a file with that text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read(path, unit)


def one(cells: str, header: str = "test point,value", unit: Unit = ONE_CHANNEL) -> Reading:
    """Return the only reading of a file with one line."""
    (row,) = taken(f"{header}\n{cells}\n", unit).rows
    return row


def refused(text: str | bytes, unit: Unit = ONE_CHANNEL) -> str:
    """Return what is said of a file that is refused."""
    with pytest.raises(UserError) as caught:
        taken(text, unit)
    return str(caught.value)


def test_a_file_with_every_column() -> None:
    text = (
        "Test point,Quantity,Value,Frequency,Channel,Instrument,Note\n"
        "U2 pin 7,level,1.2 Vpp,10 kHz,Zone B,scope-x10,a bit noisy\n"
        "U2 pin 1,dc,-0.6 V,,Zone A,dmm-trms,\n"
    )
    first, second = taken(text, TWO_ZONES).rows
    assert (first.point, first.quantity, first.channel, first.given_as) == ("U2 pin 7", "level", "Zone B", "pp")
    assert first.value == pytest.approx(1.2 / 8**0.5)
    assert (first.frequency, first.instrument, first.note) == (10e3, "scope-x10", "a bit noisy")
    assert (first.where.line, first.text) == (2, "1.2 Vpp")
    assert (second.quantity, second.value, second.frequency, second.instrument) == ("dc", -0.6, None, "dmm-trms")


def test_what_is_left_out_comes_from_the_set_up() -> None:
    row = one("U2 pin 7,420 mV rms")
    assert (row.channel, row.quantity, row.frequency, row.instrument) == ("main", "level", 500.0, "scope-x10")


@pytest.mark.parametrize(
    ("cell", "value", "given_as"),
    [
        ("1.2Vpp", 0.424264, "pp"),
        ("420 mV rms", 0.42, "rms"),
        ("-18 dBu", 0.0975159, "dBu"),
        ("0.6 Vpk", 0.424264, "peak"),
    ],
)
def test_levels(cell: str, value: float, given_as: str) -> None:
    row = one(f"TP4,{cell}")
    assert row.quantity == "level"
    assert row.value == pytest.approx(value, rel=1e-5)
    assert row.given_as == given_as


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("nothing", "nothing"),
        ("Dead", "nothing"),
        ("No signal.", "nothing"),
        ("0 V rms", "nothing"),
        ("clipped", "clipped"),
        ("FLAT  TOP", "flat top"),
        ("half wave missing", "half missing"),
        ("weak", "low"),
    ],
)
def test_words(cell: str, word: str) -> None:
    row = one(f"TP4,{cell}")
    assert (row.word, row.value, row.quantity) == (word, None, "level")


def test_a_word_may_be_said_of_dc() -> None:
    assert one("TP4,dc,nothing", "point,quantity,value").quantity == "dc"


def test_less_than_the_instrument_shows() -> None:
    row = one("TP4,<2 mV")
    assert (row.below, row.value, row.quantity) == (True, 2e-3, "level")
    assert one("TP4,less than 2 mVpp").given_as == "pp"


@pytest.mark.parametrize("cell", ["+15 V", "-0.6 V", "0.3 V dc", "\u22120,6 V"])
def test_volts_with_a_sign_or_dc_are_dc(cell: str) -> None:
    assert one(f'TP4,"{cell}"').quantity == "dc"


def test_plain_volts_are_asked_about() -> None:
    assert "1.2 V dc, 1.2 V rms or 1.2 Vpp" in refused("point,value\nTP4,1.2 V\n")
    assert "write 1.2 V rms or 1.2 Vpp" in refused("point,quantity,value\nTP4,level,1.2 V\n")


def test_plain_volts_are_rms_on_a_meter() -> None:
    row = one("TP4,level,1.2 V,dmm", "point,quantity,value,instrument")
    assert (row.value, row.given_as, row.instrument) == (1.2, "rms", "dmm-trms")


def test_a_bare_number_is_refused_with_its_likely_meaning() -> None:
    said = refused("point,value\nTP4,0.42\n")
    assert "line 2" in said
    assert "0.42 V rms or 0.42 Vpp" in said


def test_the_unit_may_stand_in_the_heading_or_in_the_quantity() -> None:
    assert one("TP4,420", "point,value (mV rms)").value == 0.42
    assert one("TP4,Vpp,1.2", "point,quantity,value").given_as == "pp"
    assert one("TP4,1.2 Vpp,10", "point,value,freq [kHz]").frequency == 10e3


@pytest.mark.parametrize(
    "text",
    [
        "U2 pin 7,1.2 Vpp",
        "u2-7,1.2 Vpp",
        "U2.7,1.2 Vpp",
        "U2 p7,1.2 Vpp",
        "U2pin7,1.2 Vpp",
        " u2  PIN 7 ,1.2 Vpp",
    ],
)
def test_test_points_are_found_whatever_their_spelling(text: str) -> None:
    assert one(text).point == "U2 pin 7"


def test_more_spellings_of_test_points() -> None:
    assert one("r14 hot end,1 Vpp").point == "R14, hot end"
    assert one("Q5 b,1 Vpp").point == "Q5 base"
    assert one("tp-4,1 Vpp").point == "TP4"
    assert one("C7+,1 Vpp").point == "C7 +"
    assert one("c7-,1 Vpp").point == "C7 -"


def test_a_sign_is_part_of_a_test_points_name() -> None:
    unit = replace(ONE_CHANNEL, points=(TestPoint("C7", "a"), TestPoint("C8 +", "b")))
    assert "no test point 'C7 -'" in refused("point,value\nC7 -,1 Vpp\n", unit)
    assert "no test point 'C8'" in refused("point,value\nC8,1 Vpp\n", unit)


def test_another_channels_designators_imply_the_channel() -> None:
    row = one("U102-7,1.2 Vpp", unit=TWO_ZONES)
    assert (row.point, row.channel) == ("U2 pin 7", "Zone B")
    assert "Zone B, but the channel column says Zone A" in refused(
        "point,value,channel\nU102 pin 7,1.2 Vpp,Zone A\n", TWO_ZONES
    )


def test_the_channel_is_asked_for_where_there_are_two() -> None:
    assert "which channel" in refused("point,value\nU2 pin 7,1.2 Vpp\n", TWO_ZONES)
    assert one("U2 pin 7,1.2 Vpp,b", "point,value,ch", TWO_ZONES).channel == "Zone B"
    assert taken("# channel: Zone B\npoint,value\nU2 pin 7,1.2 Vpp\n", TWO_ZONES).rows[0].channel == "Zone B"


def test_an_unknown_test_point_is_refused_with_the_nearest() -> None:
    said = refused("point,value\nU2 pin 1,1 Vpp\nU2 pin 8,1 Vpp\n")
    assert "line 3" in said
    assert "U2 pin 7" in said


def test_every_mistake_is_told_with_its_line() -> None:
    said = refused(
        "point,value,channel,frequency,extra\n"
        "TP5,0.42,Zone A,500 Hz\n"
        "TP4,1.2 Vpp,Zone C,10 mV\n"
        "TP4,500 Hz,Zone A\n"
        "TP4,1,2 Vpp,Zone A,,\n",
        TWO_ZONES,
    )
    for part in (
        "line 1: there is no column 'extra'",
        "line 2: there is no test point 'TP5'. Did you mean TP4?",
        "line 3: there is no channel 'Zone C'",
        "line 3: '10 mV' is no frequency",
        "line 4: '500 Hz' is a frequency, which belongs in the frequency column",
        "line 5",
    ):
        assert part in said


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("\n\n", "empty"),
        ("# only a comment\n", "empty"),
        ("test point,value\n", "no reading"),
        ("test point,value\n,\n\n", "no reading"),
        ("TP4,1.2 Vpp\n", "name the columns"),
        ("test point,note\nTP4,x\n", "no column 'value'"),
        ("point,value,value\nTP4,1 Vpp,1 Vpp\n", "twice"),
        ("point,value,chanel\nTP4,1 Vpp,main\n", "Did you mean channel?"),
        ("point,value\nTP4,nan V\n", "is no reading"),
        ("point,value\nTP4,inf V\n", "is no reading"),
        ("point,value\nTP4,99 kV rms\n", "10 kV"),
        ("point,value\nTP4,wobbly\n", "no reading"),
        ("point,value\nTP4,cliped\n", "clipped"),
        ("point,value\nTP4,distorted\n", "Say how"),
        ("point,value\nTP4,-\n", "not taken"),
        ("point,value\nTP4,#NAME?\n", "spreadsheet"),
        ("point,quantity,value\nTP4,dc,1 Vpp\n", "quantity is dc"),
        ("point,quantity,value\nTP4,level,-3 V\n", "quantity is level"),
        ("point,quantity,value\nTP4,dc,clipped\n", "only of level"),
        ("point,quantity,value\nTP4,levle,1 Vpp\n", "Did you mean level?.*Quantities: level, dc, .*mains watts"),
        ("point,quantity,value\nTP4,zzz,1 Vpp\n", "no quantity 'zzz'. Quantities: level, dc"),
        ("point,quantity,value\nTP4,dc,1 W\n", "That is a power"),
        ("point,value,frequency\nTP4,1 Vpp,3 mV\n", "That is a voltage"),
        ("point,value,instrument\nTP4,1 Vpp,scope-x100\n", "scope-x10"),
        ("point,value\nTP4,same as good\n", "second channel"),
        ("point,value\n,1 Vpp\n", "no test point"),
        ('point,value\nTP4,"1 Vpp\n', "never closed"),
        ("# good chanel: Zone A\npoint,value\nTP4,1 Vpp\n", "good channel"),
        ("# good channel: Zone Z\npoint,value\nTP4,1 Vpp\n", "no channel 'Zone Z'"),
        (b"point,value\nTP4,\x001 Vpp\n", "control character"),
        (b"point,value\nTP4,1 Vpp \x81\n", "not text"),
        (b"PK\x03\x04\x14\x00\x06\x00", "control character"),  # a spreadsheet's own format
    ],
)
def test_bad_files(text: str | bytes, message: str) -> None:
    with pytest.raises(UserError, match=message):
        taken(text)


def test_a_large_file_is_refused() -> None:
    assert "2 MB" in refused(b"point,value\n" + b"TP4,1 Vpp\n" * 1_000_000)
    assert "5000" in refused("point,value\n" + "TP4,1 Vpp\n" * 30_000)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(UserError, match=r"can't be read|this is a folder"):
            read(path, ONE_CHANNEL)


@pytest.mark.parametrize(
    "text",
    [
        "point;value;note\nTP4;1,2 Vpp;a, b\n",
        'point,value,note\nTP4,"1,2 Vpp","a, b"\n',
        "point\tvalue\tnote\nTP4\t1,2 Vpp\ta, b\n",
        "\ufeffpoint;value;note\r\nTP4;1,2 Vpp;a, b\r\n",
        "point (board, side, hole);value;note\nTP4;1,2 Vpp;a, b\n",
        "sep=;\npoint;value;note\nTP4;1,2 Vpp;a, b\n",
        "# what, when; where\n\npoint;value;note;;\n\nTP4;1,2 Vpp;a, b;;\n;;;;\n# end\n",
    ],
)
def test_files_as_spreadsheets_make_them(text: str) -> None:
    (row,) = taken(text).rows
    assert (row.point, row.note) == ("TP4", "a, b")
    assert row.value == pytest.approx(0.424264, rel=1e-5)


def test_lines_are_counted_as_an_editor_does() -> None:
    text = 'point,value,note\nTP4,1 Vpp,"two\nlines"\n\n# a comment\nTP5,1 Vpp,\n'
    assert "line 6: there is no test point 'TP5'" in refused(text)
    assert "line 6" in refused(text.replace("\n", "\r\n"))


def test_a_file_that_is_no_readings_file_is_not_answered_at_length() -> None:
    with pytest.raises(UserError) as caught:
        taken("point,value\n" + "TP5,1 Vpp\n" * 5000)
    assert len(caught.value.problems) <= 101
    assert len(taken("point,value\n" + "TP4,1 Vpp\n" * 4000).warnings) <= 101
    assert "longer than" in refused(f"point,value\nTP4,{'1' * 500} V\n")


def test_other_encodings() -> None:
    text = "point,value\nTP4,500 µV rms\n"
    assert taken(text.encode("utf-16")).rows[0].value == 500e-6
    readings = taken(text.encode("cp1252"))
    assert readings.rows[0].value == 500e-6
    assert "line 2: not UTF-8" in readings.warnings[0]


def test_a_point_that_cant_be_reached() -> None:
    readings = taken("point,value,channel\nTP4,can't reach,Zone A\nU102-7,unreachable,\nTP4,1 Vpp,b\n", TWO_ZONES)
    assert readings.unreachable == (("TP4", "Zone A"), ("U2 pin 7", "Zone B"))
    assert len(readings.rows) == 1


@pytest.mark.parametrize(
    ("lines", "warning"),
    [
        ("TP4,OL,", "over range"),
        ("TP4,off screen,", "more volts a division"),
        ("TP4,,", "no value in line 2"),
        ("TP4,~1.2 Vpp,", "exactly"),
        ("TP4,1.2 Vpp,300 Hz", "none of the set-up's frequencies"),
        ("# TP4,1.2 Vpp,", "starts with #"),
        ("TP4,1.3 Vpp,\nTP4,1.2 Vpp,", r"line 3: read before, in line 2 \('1.3 Vpp'\)"),
    ],
)
def test_warnings(lines: str, warning: str) -> None:
    readings = taken(f"point,value,frequency\n{lines}\nU2 pin 7,1 Vpp,\n")
    with pytest.raises(AssertionError, match=warning):
        raise AssertionError(*readings.warnings)
    assert len(readings.warnings) == 1


def test_an_instrument_beyond_its_band_is_warned_of() -> None:
    text = "point,value,frequency,instrument\nTP4,1 V rms,10 kHz,dmm-average\nTP4,1 Vpp,500,dmm\n"
    first, second = taken(text).warnings
    assert "10 kHz lies outside" in first
    assert "no pp value" in second


def test_a_quantity_that_is_not_compared_is_left_out_and_said() -> None:
    readings = taken("point,quantity,value\nTP4,distortion,3%\nTP4,level,1 Vpp\n")
    assert len(readings.rows) == 1
    assert "distortion is not compared" in readings.warnings[0]


def test_frequencies_by_name_and_by_dial() -> None:
    text = "point,value,frequency\nTP4,1 Vpp,low\nTP4,1 Vpp,high\nTP4,1 Vpp,505 Hz\nTP4,1 Vpp,middle"
    assert [row.frequency for row in taken(text).rows] == [40.0, 10e3, 500.0, 500.0]


def test_the_good_channel() -> None:
    row = "point,value,channel\nTP4,ok,Zone B\n"
    assert taken(row, TWO_ZONES).good == "Zone A"  # the only other one
    assert taken(f"# good channel: zone a,,\n{row}", TWO_ZONES).good == "Zone A"
    assert "is the good channel itself" in refused(f"# good channel: Zone B\n{row}", TWO_ZONES)
    assert "which channel is the good one" in refused(row, THREE_ZONES)
    assert taken(f"# good channel: C\n{row}", THREE_ZONES).good == "Zone C"


CELLS = {
    "Test Point": "u2-7",
    "Quantity": "level",
    "Reading": "1.2 Vpp",
    "Freq.": "10k",
    "Channel": "zone b",
    "Instrument": "scope",
    "Notes": "x",
}


def test_the_order_of_columns_does_not_matter() -> None:
    seen = set()
    for order in itertools.islice(itertools.permutations(CELLS), 0, None, 97):
        text = ",".join(order) + "\n" + ",".join(CELLS[name] for name in order) + "\n"
        seen.add(_said(taken(text, TWO_ZONES).rows[0]))
    assert len(seen) == 1


def _said(row: Reading) -> tuple[object, ...]:
    return (row.point, row.quantity, row.channel, row.value, row.given_as, row.frequency, row.instrument, row.note)


def test_a_misspelt_column_is_told_once_and_its_lines_are_read_on() -> None:
    said = refused("test pont,value\nTP4,1 V\nTP9,1 V\n")
    assert said.count("there is no column") == 1
    assert "Did you mean test point?" in said
    assert "TP9" in said
    assert "twice" not in refused("test pont,test point,value\nTP4,TP4,1 V\n")
    assert refused("colour,value\nTP4,1 V\n").count("there is no column") == 2
