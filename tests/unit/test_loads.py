"""What may hang on an output, as written in a unit file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.problems import UserError
from lostgain.unit import open_unit
from lostgain.unit.load import OPEN
from lostgain.unit.loads import library_load, load_names, parse_load

CHAIN = """
[unit]
title = "Two ways"
[setup]
generator = "1 V rms"
{load}
[[stage]]
name = "First"
use = "coupling"
CIN = "C1 1u film"
RB = "R1 10k"
[[stage]]
name = "Low way"
use = "contact"
K = "J1"
[[stage]]
name = "High way"
use = "contact"
K = "J2"
from = "{source}"
"""


def unit(folder: Path, load: str, source: str = "First") -> Path:
    """Write a unit that branches, and return its folder."""
    (folder / "unit.toml").write_text(CHAIN.format(load=load, source=source), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("text", "ohms", "farads", "said"),
    [
        ("8R", 8.0, 0.0, "8 Ω"),
        ("8 ohm", 8.0, 0.0, "8 Ω"),
        ("4R7", 4.7, 0.0, "4.7 Ω"),
        ("10k 2n2", 10e3, 2.2e-9, "10 kΩ with 2.2 nF across"),
        ("1 uF 8R", 8.0, 1e-6, "8 Ω with 1 µF across"),
        ("2n2", None, 2.2e-9, "2.2 nF"),
        ("open", None, 0.0, "none"),
    ],
)
def test_resistance_capacitance_and_both(text: str, ohms: float | None, farads: float, said: str) -> None:
    load = parse_load(text)
    assert (load.ohms, load.text) == (ohms, said)
    assert load.farads == pytest.approx(farads)


@pytest.mark.parametrize("text", ["", "8R 4R", "1u 1u", "0R", "10 Hz", "8R + 3", "a loudspeaker"])
def test_what_is_no_load_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"“|'"):
        parse_load(text)


@given(st.text(max_size=20))
def test_any_text_is_a_load_or_a_message(text: str) -> None:
    try:
        said = parse_load(text).text
    except ValueError as error:
        said = str(error)
    assert said


@pytest.mark.parametrize("name", load_names())
def test_every_loudspeaker_of_the_library_can_be_read(name: str) -> None:
    load = library_load(name)
    assert load.speaker is not None
    assert load.ohms == load.speaker.nominal
    assert load.speaker.title in load.text


def test_one_load_for_all_outputs_and_one_of_its_own(tmp_path: Path) -> None:
    setup = open_unit(unit(tmp_path, 'load = "8R"\n[setup.loads]\n"Low way" = "4R"')).setup
    assert setup.load.ohms == 8
    assert {name: load.ohms for name, load in setup.loads.items()} == {"Low way": 4}
    assert open_unit(unit(tmp_path, "")).setup.load == OPEN


def test_a_loudspeaker_of_the_units_own(tmp_path: Path) -> None:
    text = '[setup.load]\ntitle = "hall horn"\nnominal = "16R"\nre = "13R"\nle = "0.1mH"\nfs = "300 Hz"\n'
    text += "qms = 3\nqes = 1.5"
    load = open_unit(unit(tmp_path, text)).setup.load
    assert load.text == "hall horn, 16 Ω"
    assert load.speaker is not None
    assert load.speaker.le == pytest.approx(1e-4)


@pytest.mark.parametrize(
    ("load", "source", "word", "guess"),
    [
        ('load = "loudspeaker-guitr"', "First", "loudspeaker-guitr", "loudspeaker-guitar"),
        ('load = "8 Hz"', "First", "8 Hz", ""),
        ("load = 8", "First", "8", ""),
        ('load = "8R"\n[setup.loads]\n"First" = "4R"', "First", "First", ""),
        ('[setup.load]\nnominal = "8R"\nre = "6R"\nle = "1mH"\nfs = "50 Hz"\nqms = 3', "First", "qes", "0.45"),
        ('[setup.load]\nnominal = "8R"\nre = "-6R"\nle = "1mH"\nfs = "50 Hz"\nqms = 3\nqes = 1', "First", "re", ""),
        ('load = "8R"', "Frist", "Frist", "First"),
        ('load = "8R"', "High way", "High way", ""),
        ('load = "8R"', "First/hp", "hp", "out"),
    ],
)
def test_a_mistake_is_told_with_what_was_meant(tmp_path: Path, load: str, source: str, word: str, guess: str) -> None:
    with pytest.raises(UserError) as raised:
        open_unit(unit(tmp_path, load, source))
    assert any(word in each.message and guess in each.message + each.meant for each in raised.value.problems)
    assert all(each.where.line for each in raised.value.problems)
