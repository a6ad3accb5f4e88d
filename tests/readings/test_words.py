"""The words are data, and every word of the model has its row."""

from __future__ import annotations

import tomllib
from pathlib import Path

import lostgain.readings
from lostgain.readings import SIGNS, WORDS, words
from lostgain.readings.words import asked, quantities, quantity, sign, spellings, state, word

FOLDER = Path(lostgain.readings.__file__).parent


def test_every_word_has_a_meaning() -> None:
    assert tuple(words()) == WORDS
    for row in words().values():
        assert row.about
        assert set(row.quantities) <= set(quantities())
        assert row.comparison in ("below floor", "lower", "same", "shape", "sign")
        assert row.comparison != "lower" or row.by_db > 0
        assert row.comparison != "same" or row.within_db > 0
        assert row.comparison != "sign" or row.quantities == SIGNS
        assert row.comparison != "shape" or row.sides in ("both", "one")


def test_no_spelling_stands_for_two_things() -> None:
    seen: list[str] = []
    for file in ("words.toml", "asked.toml", "states.toml"):
        for name, row in tomllib.loads((FOLDER / file).read_text(encoding="utf-8")).items():
            seen += {name, *row["also"]}
    for name, row in tomllib.loads((FOLDER / "signs.toml").read_text(encoding="utf-8")).items():
        seen += [text for key, texts in row.items() for text in texts if name != "sizes"]
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


def test_signs() -> None:
    assert sign("loud hum") == ("hum", "seen")
    assert sign("Some  hiss.") == ("noise", "seen")
    assert sign("motorboating") == ("oscillation", "seen")
    assert sign("no hum") == ("hum", "not seen")
    assert sign("none heard", "hum") == ("hum", "not seen")
    assert sign("nothing", "noise") == ("noise", "not seen")
    assert sign("loud", "hum") == sign("yes", "hum") == sign("hum", "hum") == ("hum", "seen")
    assert sign("loud") == sign("yes") == sign("noisy") == sign("oscillating") == ("", "")  # of what; a picture word


def test_no_size_alone_says_which_sign() -> None:
    for size in tomllib.loads((FOLDER / "signs.toml").read_text(encoding="utf-8"))["sizes"]["also"]:
        assert sign(size) == ("", "")
        assert sign(f"{size} hum") == ("hum", "seen")
