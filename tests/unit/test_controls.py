"""Settings of potentiometers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.unit.controls import passed, share


@pytest.mark.parametrize(
    ("text", "taper", "expected"),
    [
        ("full", "audio", 1.0),
        ("off", "audio", 0.0),
        ("half", "linear", 0.5),
        ("half", "audio", 0.1),  # a tenth at half turn: common practice, no source
        ("0.3 turn", "linear", 0.3),
        ("30 %", "linear", 0.3),
        ("-6 dB", "audio", 10 ** (-6 / 20)),  # decibels of voltage, by definition, whatever the taper
        ("−6dB", "linear", 10 ** (-6 / 20)),
    ],
)
def test_a_setting_is_the_share_of_voltage_passed(text: str, taper: str, expected: float) -> None:
    assert share(text, taper) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("text", ["", "6 dB", "0.3", "120 %", "1.5 turn", "loud", "-6 dBu", "nan %"])
def test_what_is_no_setting_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="“"):
        share(text, "linear")


@given(st.floats(0, 1), st.floats(0, 1), st.sampled_from(["linear", "audio"]))
def test_more_turn_passes_more(one: float, other: float, taper: str) -> None:
    low, high = sorted((one, other))
    assert 0 <= passed(low, taper) <= passed(high, taper) <= 1
