"""What a unit file may say and hardly means: doubted, with its line, and no mistake."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.problems import Where
from lostgain.unit import find_units, open_unit
from lostgain.unit.doubts import doubts
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part

CHAIN = Path(__file__).resolve().parents[1] / "units" / "chain"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('CIN = "C1 ', 'CIN = "R77 ', ["R77 stands where a capacitor belongs", "a resistor"]),
        ('RF = "R3 ', 'RF = "C3 ', ["C3 stands where a resistor belongs"]),
        ('U = "U1A ', 'U = "Q1A ', ["Q1A stands where an op-amp belongs", "an NPN transistor"]),
        ('RF = "R3 22k"', 'RF = "R3 0.005R"', []),
        ('RF = "R3 22k"', 'RF = "R3 0.000000001R"', ["R3", "1 nΩ", "1 mΩ to 10 GΩ"]),
        ('RF = "R3 22k"', 'RF = "R3 0R"', []),
        ('CG = "C2 47u', 'CG = "C2 47 F', ["C2", "47 F", "Is 47 µF meant?"]),
        ('CG = "C2 47u', 'CG = "C2 5000000 F', ["C2", "5 MF", "10 nF to 1 F"]),
        ('VP = "+15 V"', 'VP = "+15000 V"', ["VP", "15 kV"]),
        ('part = "C301 2200u', 'part = "C301 2200 F', ["C301", "Is 2200 µF meant?"]),
    ],
)
def test_a_doubt_names_line_and_likely_meaning(tmp_path: Path, old: str, new: str, words: list[str]) -> None:
    shutil.copytree(CHAIN, tmp_path / "chain")
    file = tmp_path / "chain" / "unit.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count(old) == 1
    file.write_text(text.replace(old, new), encoding="utf-8")
    found = open_unit(file).doubts
    if not words:
        assert found == ()
        return
    (doubt,) = found
    line = text[: text.index(old)].count("\n") + 1
    assert doubt.where == Where(file, line) or old.startswith("part")  # a reservoir's line is its table's
    assert all(word in str(doubt) for word in words)


def test_nothing_shipped_is_doubted() -> None:
    assert {unit.name: open_unit(unit.path).doubts for unit in find_units()} == {unit.name: () for unit in find_units()}


@given(st.sampled_from(sorted(name for name, kind in kinds().items() if kind.usual)), st.floats(1e-15, 1e15))
def test_a_value_is_doubted_outside_what_is_usual_alone(name: str, value: float) -> None:
    low, high = kinds()[name].usual or (0.0, 0.0)
    part = Part("X1", name, value, kinds()[name].tolerance)
    assert bool(list(doubts([part]))) == (not low <= value <= high)
