"""One mistake is told once: what follows from it is none of its own."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from lostgain.problems import Problem, UserError
from lostgain.unit import open_unit

UNITS = Path(__file__).resolve().parents[1] / "units"


def told(folder: Path, unit: str, old: str, new: str, name: str = "unit.toml") -> tuple[Problem, ...]:
    """Return the problems of a unit in which a text is replaced wherever it stands."""
    shutil.copytree(UNITS / unit, folder / unit)
    file = folder / unit / name
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(UserError) as raised:
        open_unit(folder / unit)
    return raised.value.problems


@pytest.mark.parametrize(
    ("unit", "old", "new", "guess"),
    [
        ("chain", 'VP = "+15 V"', 'VP = "+15 Vpp"', ""),
        ("chain", 'VP = "+15 V"', 'VP = { volt = "+15 V" }', "Did you mean volts?"),
        ("chain", 'VP = "+15 V"', '"V P" = "+15 V"', ""),
        ("chain", "[rails]", "[rail]", "Did you mean rails?"),
        ("chain", "[setup]", "[set-up]", "Did you mean setup?"),
        ("chain", "generator =", "genrator =", "Did you mean generator?"),
        ("chain", "[[channel]]", "[[chanel]]", "Did you mean channel?"),
        ("chain", "RF =", "RFF =", "RF"),
        ("chain", 'use = "level"', 'use = "lvel"', "Did you mean level?"),
        ("chain", 'use = "level"', 'usee = "level"', "Did you mean use?"),
        ("chain", 'RV = "RV1 ', 'RV = "RV1 1x ', ""),
        ("mixed", 'VP = "+15 V"', '"V P" = "+15 V"', ""),
        ("filter", "netlist =", "netlst =", "Did you mean netlist?"),
    ],
)
def test_what_follows_from_a_mistake_is_not_told(tmp_path: Path, unit: str, old: str, new: str, guess: str) -> None:
    (problem,) = told(tmp_path, unit, old, new)
    assert guess in problem.meant
    text = (tmp_path / unit / "unit.toml").read_text(encoding="utf-8")
    assert problem.where.line == text[: text.index(new)].count("\n") + 1


def test_a_control_block_is_one_mistake(tmp_path: Path) -> None:
    block = ".control\nrun\nprint all\n.endc\nR2 a b 10k\nR9 b"
    control, after = told(tmp_path, "filter", "R2 a b 10k", block, "filter.cir")
    assert "Delete it from .control to .endc" in control.message
    assert "R9" in after.message  # what stands behind the block is still read


def test_two_mistakes_are_told_both(tmp_path: Path) -> None:
    problems = told(tmp_path, "chain", 'RG = "R2', 'RG = "R2x 5')
    assert problems
    problems = told(tmp_path / "again", "chain", "[setup]", '[set-up]\nload_ratting = "5 W"')
    assert [problem.meant for problem in problems] == ["Did you mean setup?", "Did you mean load_rating?"]
