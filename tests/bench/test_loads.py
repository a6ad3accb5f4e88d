"""What a load, or none, means for the cautions and the sheet of a unit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lostgain.bench import cautions
from lostgain.problems import UserError
from lostgain.unit import library, open_unit
from lostgain.unit.model import Unit
from tests.circuits.example_units import unit_of

BRIDGE, CLASS_AB, VALVE = "bridge-integrated", "classab-mirror", "pentode-single-ended"


def with_load(folder: Path, stage: str, load: str) -> Unit:
    """Return the unit of a stage's worked example, with another load."""
    folder.mkdir(exist_ok=True)
    unit = unit_of(library.stage(stage), folder)
    text = unit.file.read_text(encoding="utf-8")
    lines = [line if not line.startswith("load = ") else f'load = "{load}"' for line in text.splitlines()]
    unit.file.write_text("\n".join(lines), encoding="utf-8")
    return open_unit(unit.folder)


def topics(unit: Unit) -> set[str]:
    return {each.topic for each in cautions(unit)}


def test_an_open_output_is_refused_where_it_would_do_harm(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="may not run without a load"):
        with_load(tmp_path, VALVE, "open")


def test_it_is_a_caution_that_the_load_must_not_come_off(tmp_path: Path) -> None:
    unit = with_load(tmp_path, VALVE, "8R")
    assert "Never without its load" in topics(unit)


@pytest.mark.parametrize("stage", [BRIDGE, CLASS_AB])
def test_elsewhere_an_open_output_is_a_caution(tmp_path: Path, stage: str) -> None:
    assert "Open output" in topics(with_load(tmp_path / "open", stage, "open"))
    assert "Open output" not in topics(with_load(tmp_path / "loaded", stage, "8R"))


def test_a_bridged_output_warns_of_the_probes_earth(tmp_path: Path) -> None:
    """By the stage alone, whatever the unit file says; and the load takes the level of both halves."""
    unit = with_load(tmp_path, BRIDGE, "8R")
    assert not unit.bridged
    assert "Bridged outputs" in topics(unit)


@pytest.mark.parametrize("load", ["8R 1u", "loudspeaker-guitar", "2n2"])
def test_loads_of_every_sort_are_told_as_such(tmp_path: Path, load: str) -> None:
    unit = with_load(tmp_path, CLASS_AB, load)
    assert not unit.setup.load.is_open
    assert "Open output" not in topics(unit)
    loud = [each.text for each in cautions(replace(unit, output_stage=True)) if "ears" in each.text]
    assert bool(loud) == (unit.setup.load.speaker is not None)
