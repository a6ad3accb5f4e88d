"""Text to numbers and back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.quantities import component, measure, show, show_level


# IEC 60062, examples of its letter code for resistance and capacitance: from memory, to be verified.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("R10", "ohm", 0.1),
        ("R332", "ohm", 0.332),
        ("1R0", "ohm", 1.0),
        ("59R04", "ohm", 59.04),
        ("590R4", "ohm", 590.4),
        ("1K0", "ohm", 1e3),
        ("5K904", "ohm", 5904.0),
        ("10M", "ohm", 10e6),
        ("3M32", "ohm", 3.32e6),
        ("1G0", "ohm", 1e9),
        ("p10", "farad", 0.1e-12),
        ("3p32", "farad", 3.32e-12),
        ("590p4", "farad", 590.4e-12),
        ("1n0", "farad", 1e-9),
        ("33n2", "farad", 33.2e-9),
        ("1µ0", "farad", 1e-6),
        ("10m", "farad", 10e-3),
    ],
)
def test_iec_60062_codes(text: str, unit: str, value: float) -> None:
    assert component(text, unit) == value


# How values are written on schematics: common practice, no source.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2k2", "ohm", 2200),
        ("0R22", "ohm", 0.22),
        ("22", "ohm", 22),
        ("22k", "ohm", 22e3),
        ("22 kΩ", "ohm", 22e3),
        ("22 k\u2126", "ohm", 22e3),  # the ohm sign, not the letter omega
        ("1.5k", "ohm", 1500),
        ("1,5k", "ohm", 1500),
        ("100 ohms", "ohm", 100),
        ("1meg", "ohm", 1e6),
        ("22m", "ohm", 0.022),
        ("0R", "ohm", 0),  # a wire link
        ("25:1", "turns", 25),
        ("1:10", "turns", 0.1),
        ("230V : 250V", "turns", 0.92),
        ("4u7", "farad", 4.7e-6),
        ("10 \u03bcF", "farad", 10e-6),  # Greek mu
        ("100n", "farad", 100e-9),
        ("0,1uF", "farad", 0.1e-6),
        ("100nf", "farad", 100e-9),
        ("1e-7", "farad", 1e-7),
        ("4m7", "henry", 4.7e-3),
        ("3A15", "ampere", 3.15),
        ("500 mA", "ampere", 0.5),
        ("5V1", "volt", 5.1),
    ],
)
def test_component_values_as_they_are_written(text: str, unit: str, value: float) -> None:
    assert component(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("25", "turns", "is no turns ratio"),
        ("0:1", "turns", "is no turns ratio"),
        ("-5k", "ohm", "negative"),
        ("-0", "ohm", "negative"),
        ("0", "farad", "zero"),
        ("0n", "farad", "zero"),
        ("47", "farad", "47u"),  # microfarads or picofarads: not guessed
        ("104", "farad", "100 nF"),
        ("10M", "farad", "10u"),
        ("10MFD", "farad", "10u"),
        ("1,000", "ohm", "two ways"),
        ("4E7", "ohm", "4R7"),
        ("4R7J", "ohm", "4R7 5%"),
        ("22k 1%", "ohm", "expected"),
        ("2k2k", "ohm", "expected"),
        ("22kF", "ohm", "expected"),
        ("1.2.3", "ohm", "expected"),
        ("", "ohm", "expected"),
        ("Ω", "ohm", "expected"),
        ("nan", "ohm", "expected"),
        ("inf", "ohm", "expected"),
        ("1e999", "ohm", "too large"),
        ("twenty", "farad", "expected"),
        ("2²k", "ohm", "expected"),
    ],
)
def test_what_is_no_value_is_refused_with_what_was_expected(text: str, unit: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        component(text, unit)


# 0 dBu is the voltage of 1 mW in 600 ohm (ITU-R BS.645, IEC 60268-17: from memory, to be verified); a sine has
# 2·sqrt(2) times its rms value from peak to peak (definition).
@pytest.mark.parametrize(
    ("text", "value", "given_as"),
    [
        ("0 dBu", math.sqrt(1e-3 * 600), "dBu"),
        ("+4 dBu", 1.2277, "dBu"),  # the usual studio level, printed as 1.228 V rms
        ("-18 dBu", 0.097516, "dBu"),
        ("-10 dBV", 0.316228, "rms"),
        ("1.2Vpp", 1.2 / (2 * math.sqrt(2)), "pp"),
        ("1.2 V p-p", 1.2 / (2 * math.sqrt(2)), "pp"),
        ("1,2 Vpk-pk", 1.2 / (2 * math.sqrt(2)), "pp"),
        ("12 mVpk", 12e-3 / math.sqrt(2), "peak"),
        ("420 mV rms", 0.42, "rms"),
        ("420mVrms", 0.42, "rms"),
        ("230 VAC", 230.0, "rms"),
        ("3.3V", 3.3, "plain"),
        ("3V3", 3.3, "plain"),
        ("+15 V", 15.0, "plain"),
        ("\u22120.6 V", -0.6, "plain"),  # a minus sign, not a hyphen
        ("12 VDC", 12.0, "plain"),
        ("50 µV", 50e-6, "plain"),
    ],
)
def test_voltages(text: str, value: float, given_as: str) -> None:
    found = measure(text, "voltage")
    assert found.value == pytest.approx(value, rel=1e-4)
    assert found.given_as == given_as


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("500 Hz", "frequency", 500),
        ("500", "frequency", 500),
        ("10k", "frequency", 10e3),
        ("10 kHz", "frequency", 10e3),
        ("1k5", "frequency", 1500),
        ("20 khz", "frequency", 20e3),
        ("100 W", "power", 100),
        ("1/4 W", "power", 0.25),
        ("500mW", "power", 0.5),
        ("80 mA", "current", 0.08),
        ("2 min", "time", 120),
        ("30 s", "time", 30),
        ("5%", "fraction", 0.05),
        ("±5 %", "fraction", 0.05),
        ("0.05", "fraction", 0.05),
        ("-20%", "fraction", -0.2),
        ("8R", "resistance", 8),
        ("47u", "capacitance", 47e-6),
    ],
)
def test_other_measures(text: str, dimension: str, value: float) -> None:
    assert measure(text, dimension).value == value


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("0.42", "voltage", r"0\.42 V rms or 0\.42 Vpp"),
        ("-6 dB", "voltage", "-6 dBu or -6 dBV"),
        ("4 dBm", "voltage", "4 dBu"),
        ("5 MV", "voltage", "5 mV"),
        ("-3 Vpp", "voltage", "negative"),
        ("500 Hz", "voltage", "no voltage"),
        ("1e999 V", "voltage", "too large"),
        ("5000 dBu", "voltage", "between"),
        ("nan V", "voltage", "no voltage"),
        ("0 Hz", "frequency", "zero"),
        ("-5 Hz", "frequency", "negative"),
        ("3 V", "frequency", "no frequency"),
        ("100", "power", "100 W"),
        ("2", "time", "2 s"),
    ],
)
def test_what_is_no_measure_is_refused(text: str, dimension: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        measure(text, dimension)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (25, "turns", "25:1"),
        (0.1, "turns", "1:10"),
        (2200, "ohm", "2.2 kΩ"),
        (0.22, "ohm", "0.22 Ω"),
        (0, "ohm", "0 Ω"),
        (47e-6, "farad", "47 µF"),
        (4.7e-3, "farad", "4700 µF"),
        (0.00123, "V", "1.23 mV"),
        (0.9999, "V", "1 V"),
        (0.9994e-3, "V", "999 µV"),
        (999.9e3, "Hz", "1 MHz"),
        (-0.6, "V", "-600 mV"),
        (0, "V", "0 V"),
        (-0.0, "V", "0 V"),
        (-6, "dB", "-6.0 dB"),
        (-0.01, "dB", "0.0 dB"),
        (0.05, "%", "5 %"),
        (math.nan, "V", "—"),
        (-math.inf, "dB", "-∞ dB"),
    ],
)
def test_shown_as_the_trade_writes_it(value: float, unit: str, text: str) -> None:
    assert show(value, unit) == text


def test_levels_are_shown_the_way_they_were_written() -> None:
    for text in ("420 mV rms", "1.2 Vpp", "12 mVpk", "-18.0 dBu", "3.3 V"):
        found = measure(text, "voltage")
        assert show_level(found.value, found.given_as) == text
    assert show_level(0.0, "dBu") == "0 V rms"


sizes = st.floats(min_value=1e-11, max_value=1e8)


kinds = st.sampled_from([("ohm", 1e-3, 1e11), ("farad", 1e-12, 900.0), ("henry", 1e-9, 900.0)])


@given(kinds, st.floats(0, 1), st.integers(3, 8))
def test_a_component_shown_reads_back(kind: tuple[str, float, float], place: float, digits: int) -> None:
    unit, low, high = kind
    value = low * (high / low) ** place
    assert component(show(value, unit, digits), unit) == pytest.approx(value, rel=10.0 ** (1 - digits))


@given(st.floats(min_value=1e-8, max_value=9e5), st.sampled_from(["rms", "pp", "peak", "plain"]))
def test_a_level_shown_reads_back(value: float, given_as: str) -> None:
    found = measure(show_level(value / 4, given_as, digits=6), "voltage")
    assert found.given_as == given_as
    assert found.value == pytest.approx(value / 4, rel=1e-5)


@given(sizes, st.sampled_from(["ohm", "V", "Hz"]), st.sampled_from([2, 3, 4]))
def test_no_thousands_of_a_smaller_unit(value: float, unit: str, digits: int) -> None:
    number = float(show(value, unit, digits).split()[0])
    assert number < 1000 or value >= 1e9


@given(st.text(max_size=20), st.sampled_from(["ohm", "farad", "henry", "ampere", "volt"]))
def test_any_text_is_a_component_value_or_a_value_error(text: str, unit: str) -> None:
    try:
        value = component(text, unit)
    except ValueError as error:
        assert text in str(error)  # noqa: PT017 - the point is that nothing else is raised
        return
    assert math.isfinite(value)
    assert value >= 0


near_numbers = st.text("0123456789.,+-eEkKmMuµnpRFVHzdBu% /<∞Ω", max_size=12)
dimensions = st.sampled_from(
    ["voltage", "frequency", "power", "current", "time", "fraction", "resistance", "capacitance"]
)


@given(near_numbers, dimensions)
def test_any_text_is_a_measure_or_a_value_error(text: str, dimension: str) -> None:
    try:
        found = measure(text, dimension)
    except ValueError:
        return
    assert math.isfinite(found.value)


@given(near_numbers, st.sampled_from(["ohm", "farad"]))
def test_near_numbers_too(text: str, unit: str) -> None:
    try:
        assert component(text, unit) >= 0
    except ValueError as error:
        assert str(error)  # noqa: PT017
