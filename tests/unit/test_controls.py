"""Settings of potentiometers."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.unit import open_unit
from lostgain.unit.controls import share
from lostgain.unit.tapers import passed, taper_words, tapers


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


@given(st.floats(0, 1), st.floats(0, 1), st.sampled_from([name for name in tapers() if name != "reverse-balance"]))
def test_more_turn_passes_more(one: float, other: float, taper: str) -> None:
    low, high = sorted((one, other))
    assert 0 <= passed(low, taper) <= passed(high, taper) <= 1


@pytest.mark.parametrize(
    ("taper", "half"),
    [
        ("linear", 0.5),
        ("audio", 0.10),  # audio tracks pass 10 % or 15 % at half turn: common practice, no source
        ("audio-15", 0.15),
        ("reverse", 0.90),
        ("balance", 1.0),  # a balance control loses nothing at its centre
        ("reverse-balance", 1.0),
    ],
)
def test_what_each_taper_passes_at_half_and_at_the_ends(taper: str, half: float) -> None:
    assert passed(0.5, taper) == pytest.approx(half, abs=1e-3)
    ends = {passed(0.0, taper), passed(1.0, taper)}
    assert ends == {0.0, 1.0}


@given(st.floats(0, 1))
def test_a_mirrored_taper_is_the_other_read_from_the_other_end(turn: float) -> None:
    assert passed(turn, "reverse") == pytest.approx(1 - passed(1 - turn, "audio"))
    assert passed(turn, "reverse-balance") == pytest.approx(passed(1 - turn, "balance"))


def test_every_taper_has_its_source_and_words_of_its_own() -> None:
    assert all(taper.source for taper in tapers().values())
    assert len(taper_words()) == sum(1 + len(taper.also) for taper in tapers().values())


GANGED = """
[unit]
title = "Ganged"
[setup]
generator = "1 V rms"
[setup.controls]
RV1 = "0.2 turn"
[[stage]]
name = "One"
use = "level"
RV = "RV1A 10k log"
[[stage]]
name = "Other"
use = "level"
RV = "RV1B 10k reverse"
[[stage]]
name = "Apart"
use = "level"
RV = "RV11 10k"
"""


def test_one_knob_sets_all_gangs_each_by_its_taper(tmp_path: Path) -> None:
    (tmp_path / "unit.toml").write_text(GANGED, encoding="utf-8")
    controls = open_unit(tmp_path).setup.controls
    expected = {"RV1A": passed(0.2, "audio"), "RV1B": passed(0.2, "reverse"), "RV11": 0.5}
    assert controls == pytest.approx(expected)
