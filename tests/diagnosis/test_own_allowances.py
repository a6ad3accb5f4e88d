"""A unit's own allowances: what cannot be is said with its file, line and word, and nothing is weighed with it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.diagnosis import match
from lostgain.diagnosis.allowances import allowances
from lostgain.problems import UserError
from tests.diagnosis.megaphone import level, megaphone, readings


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("loose = 1.5", "loose = 1.5 is a probability"),
        ("device_gain = -1", "device_gain = -1 should be zero or more"),
        ("loose_db = 1.0", "loose_db"),
    ],
)
def test_what_cannot_be_is_told_with_its_line(tmp_path: Path, line: str, said: str) -> None:
    (tmp_path / "allowances.toml").write_text(f"[model]\nlevel_each_db = 0.1\n{line}\n", encoding="utf-8")
    with pytest.raises(UserError) as raised:
        allowances(tmp_path)
    assert said in str(raised.value)
    assert "allowances.toml" in str(raised.value)
    assert "3" in str(raised.value)


def test_a_share_of_all_is_still_one(tmp_path: Path) -> None:
    (tmp_path / "allowances.toml").write_text("[model]\nloose = 1\n", encoding="utf-8")
    assert allowances(tmp_path).model_loose == 1.0


def test_a_match_names_the_file_of_the_allowances_and_not_that_of_the_readings(tmp_path: Path) -> None:
    (tmp_path / "allowances.toml").write_text('[model]\nresidue = "tiny"\nloose = 2\n', encoding="utf-8")
    table = megaphone()
    elsewhere = replace(table.circuit.unit, folder=tmp_path)
    with pytest.raises(UserError) as raised:
        match(replace(table, circuit=replace(table.circuit, unit=elsewhere)), readings(level("U1 pin 7", 1.0)))
    assert f"{tmp_path / 'allowances.toml'}, line 2: residue" in str(raised.value)
    assert f"{tmp_path / 'allowances.toml'}, line 3: loose" in str(raised.value)
    assert "typed.csv" not in str(raised.value)
