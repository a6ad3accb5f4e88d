"""Readings with the power off, as a technician types them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain import open_unit
from lostgain.problems import UserError
from lostgain.quantities import show
from lostgain.readings import Reading, Readings, instruments, read, write
from lostgain.readings.off import is_ohms, without_lifted
from lostgain.readings.typed import place_cells, typed
from lostgain.readings.values import parse, unit_of

FERRY = open_unit("ferry-terminal")
HEAD = "test point,quantity,value,channel,against,instrument\n"


def read_lines(tmp_path: Path, *lines: str) -> Readings:
    path = tmp_path / "a.csv"
    path.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return read(path, FERRY)


@pytest.mark.parametrize(
    ("text", "quantity", "value", "above"),
    [
        ("31k", "resistance", 31e3, False),
        ("4k7", "resistance", 4.7e3, False),
        ("0R22", "resistance", 0.22, False),
        ("4R7", "esr", 4.7, False),
        ("22 kohm", "", 22e3, False),
        ("22 kΩ", "", 22e3, False),
        ("2.6", "esr", 2.6, False),
        ("> 20M", "resistance", 20e6, True),
        ("0.62 V", "diode test", 0.62, False),
        ("620 mV", "diode test", 0.62, False),
        ("short", "resistance", 0.0, False),
        ("beeps", "resistance", 0.0, False),
    ],
)
def test_values(text: str, quantity: str, value: float, above: bool) -> None:
    found = parse(text, quantity)
    assert found.value == pytest.approx(value)
    assert (found.above, found.quantity) == (above, quantity or "resistance")


@pytest.mark.parametrize("text", ["OL", "open", "O.L", "infinite", "does not register"])
def test_what_is_open_is_over_range(text: str) -> None:
    assert parse(text, "resistance").state == "over range"
    assert parse(text, "esr").state == "over range"


@pytest.mark.parametrize(
    ("text", "quantity", "says"),
    [
        ("nothing", "resistance", "says too little"),
        ("0.6 V rms", "diode test", "no reading of a diode test"),
        ("lots", "resistance", "expected for example 31k"),
        ("-3k", "resistance", ""),
    ],
)
def test_values_that_are_none(text: str, quantity: str, says: str) -> None:
    with pytest.raises(ValueError, match=says or "."):
        parse(text, quantity)


def test_volts_stay_volts() -> None:
    assert parse("0.62 V dc").quantity == "dc"
    assert not is_ohms("1.2 V")
    assert not is_ohms("80 mA")
    assert unit_of("kohm") == "resistance"


@given(st.floats(1e-3, 9e8))
def test_a_resistance_that_is_shown_reads_back(ohms: float) -> None:
    assert parse(show(ohms, "ohm", 6), "resistance").value == pytest.approx(ohms, rel=1e-4)


def test_places(tmp_path: Path) -> None:
    found = read_lines(
        tmp_path,
        "R9,resistance,22k,Zone A,,",
        "R109,resistance,21k9,Zone B,,",
        "R109,resistance,21k9,Zone B,exchanged,",
        "Q3 base to Q3 emitter,diode test,0.62 V,Zone A,,",
        "Q103 emitter,diode,OL,Zone B,Q103 base,",
        "TP1,ohms,36k,Zone A,,",
        "ground,resistance,36k,Zone A,TP1,",
        "VPP,resistance,4k7,Zone A,,",
        "R9 lifted,resistance,22k,Zone A,,",
        "C10 (out of circuit),esr,0.3,Zone A,,",
        "R12,resistance,27k,Zone A,,dmm",
    )
    assert [(row.point, row.against, row.channel, row.lifted) for row in found.rows] == [
        ("R9", "", "Zone A", False),
        ("R9", "", "Zone B", False),
        ("R9 2", "R9 1", "Zone B", False),
        ("Q3 b", "Q3 e", "Zone A", False),
        ("Q3 e", "Q3 b", "Zone B", False),
        ("TP1", "", "Zone A", False),
        ("ground", "TP1", "Zone A", False),
        ("VPP", "", "Zone A", False),
        ("R9", "", "Zone A", True),
        ("C10", "", "Zone A", True),
        ("R12", "", "Zone A", False),
    ]
    assert [row.instrument for row in found.rows[2:6]] == ["ohmmeter", "diode-test", "diode-test", "ohmmeter"]
    assert found.rows[-1].instrument == "ohmmeter"  # a multimeter's ohms ranges
    assert found.rows[4].above
    assert found.rows[4].value == instruments()["diode-test"].largest_dc
    assert len(found.warnings) == 1  # what OL is taken for; both ways round is what is asked for, and no mistake


def test_what_all_channels_share_needs_no_channel(tmp_path: Path) -> None:
    found = read_lines(tmp_path, "F1,resistance,OL,,,", "VPP,resistance,4k7,,,")
    assert {row.channel for row in found.rows} == {"Zone A"}


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("R99,resistance,22k,Zone A,,", "no test point, part or pin 'R99'"),
        ("Q3,resistance,22k,Zone A,,", "write which two, for example Q3 b to Q3 e"),
        ("R9,resistance,22k,Zone A,TP1,", "R9 has more than one end"),
        ("TP1 lifted,resistance,22k,Zone A,,", "only a part can be read out of circuit"),
        ("R9,esr,2,Zone A,,", "an ESR is read of an electrolytic"),
        ("Q3 base,diode test,0.6 V,Zone A,exchanged,", "a part with two legs"),
        ("R9,level,1 V rms,Zone A,,", "no test point 'R9'"),
        ("R9,resistance,22k,Zone A,,mains-meter", "doesn't read resistance"),
    ],
)
def test_mistakes_name_their_line(tmp_path: Path, line: str, says: str) -> None:
    with pytest.raises(UserError, match=says) as error:
        read_lines(tmp_path, line)
    assert error.value.problems[0].where.line == 2


def test_what_is_written_reads_back(tmp_path: Path) -> None:
    rows = (
        Reading("R9", "resistance", "Zone B", 21.9e3, instrument="ohmmeter"),
        Reading("R9", "resistance", "Zone B", 21.9e3, instrument="ohmmeter", lifted=True),
        Reading("Q3 b", "diode test", "Zone A", 0.62, instrument="diode-test", against="Q3 e"),
        Reading("C10", "esr", "Zone A", 100.0, instrument="esr-meter", above=True),
        Reading("ground", "resistance", "Zone A", 36e3, instrument="ohmmeter", against="TP1"),
    )
    write(tmp_path / "b.csv", Readings(rows), FERRY)
    assert "R109 lifted" in (tmp_path / "b.csv").read_text(encoding="utf-8")
    back = read(tmp_path / "b.csv", FERRY)
    assert [(r.point, r.against, r.lifted, r.quantity, r.channel, r.value, r.above) for r in back.rows] == [
        (r.point, r.against, r.lifted, r.quantity, r.channel, r.value, r.above) for r in rows
    ]


def test_at_the_prompt() -> None:
    assert place_cells(FERRY, "R109, resistance") == {"test point": "R109", "quantity": "resistance"}
    assert place_cells(FERRY, "C10, esr, Zone A")["channel"] == "Zone A"
    cells = place_cells(FERRY, "Q3 base to Q3 emitter, diode test, Zone A")
    assert typed(FERRY, {**cells, "value": "0.61"}).rows[0].value == pytest.approx(0.61)
    with pytest.raises(UserError):
        place_cells(FERRY, "R109, dc")


def test_lifted_is_told_from_a_name() -> None:
    assert without_lifted("R9 lifted") == ("R9", True)
    assert without_lifted("R9, one leg lifted") == ("R9", True)
    assert without_lifted("R9 (removed)") == ("R9", True)
    assert without_lifted("U1 pin 7") == ("U1 pin 7", False)


def test_a_shop_has_its_own_ohmmeter(tmp_path: Path) -> None:
    (tmp_path / "instruments.toml").write_text(
        '[needle]\ntitle = "moving-coil meter"\nquantities = ["resistance"]\nscale_error = 0.03\nread_error = 0.03\n'
        "floor_ohms = 0.5\nzero_error = 0.5\nlargest_ohms = 1e6\nopen_volts = 3.0\n"
        "ranges = [[1e4, 20.0], [1e6, 2e3]]\n",
        encoding="utf-8",
    )
    assert instruments(tmp_path)["needle"].ranges == ((1e4, 20.0), (1e6, 2e3))
    (tmp_path / "instruments.toml").write_text("[ohmmeter]\nranges = [[4e3, 1.0], [400.0, 1.0]]\n", encoding="utf-8")
    with pytest.raises(UserError, match="lowest range first"):
        instruments(tmp_path)
