"""The words are data, and every word of the model has its row."""

from __future__ import annotations

import tomllib
from pathlib import Path

import lostgain.readings
from lostgain.readings import WORDS, words
from lostgain.readings.words import asked, quantities, quantity, spellings, state, word

FOLDER = Path(lostgain.readings.__file__).parent


def test_every_word_has_a_meaning() -> None:
    assert tuple(words()) == WORDS
    for row in words().values():
        assert row.about
        assert set(row.quantities) <= set(quantities())
        assert row.comparison in ("below floor", "lower", "same", "shape")
        assert row.comparison != "lower" or row.by_db > 0
        assert row.comparison != "same" or row.within_db > 0
        assert row.comparison != "shape" or row.sides in ("both", "one")


def test_no_spelling_stands_for_two_things() -> None:
    seen: list[str] = []
    for file in ("words.toml", "asked.toml", "states.toml"):
        for name, row in tomllib.loads((FOLDER / file).read_text(encoding="utf-8")).items():
            seen += {name, *row["also"]}
    assert len(seen) == len(set(seen))
    assert len(spellings()) < len(seen)


def test_spellings() -> None:
    assert word("OK") == "same as good"
    assert word("Crossover  distortion") == "crossover"
    assert word("1.2 Vpp") == ""
    assert state("can’t reach") == "can't reach"
    assert state("O.L") == "over range"
    assert quantity("DC voltage") == "dc"
    assert asked("distorted").startswith("Say how")
    assert asked("clipped") == ""
