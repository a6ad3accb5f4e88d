"""The demo's readings files are what the script beside them makes."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lostgain import readings
from lostgain.unit import open_unit

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "scripts" / "make-demo-readings"
UNITS = sorted(path.stem for path in (ROOT / "scripts" / "demo-readings").glob("*.toml"))


@pytest.mark.parametrize("name", UNITS)
def test_script_makes_the_shipped_files_again(name: str, tmp_path: Path) -> None:
    """The same words, and numbers within a digit: another ngspice may round the last one otherwise."""
    search = os.pathsep.join([str(ROOT / "sim"), os.environ.get("PYTHONPATH", "")])
    subprocess.run(
        [sys.executable, SCRIPT, name, tmp_path], check=True, env={**os.environ, "PYTHONPATH": search}, timeout=300
    )
    unit = open_unit(name)
    shipped = unit.folder / "readings"
    assert {path.name for path in tmp_path.iterdir()} == {path.name for path in shipped.iterdir()}
    assert (tmp_path / "truth.toml").read_text("utf-8") == (shipped / "truth.toml").read_text("utf-8")
    for path in sorted(shipped.glob("*.csv")):
        made, kept = readings.read(tmp_path / path.name, unit), readings.read(path, unit)
        assert [(row.point, row.channel, row.word) for row in made.rows] == [
            (row.point, row.channel, row.word) for row in kept.rows
        ]
        for row, other in zip(made.rows, kept.rows, strict=True):
            if row.value is not None and other.value is not None:
                assert row.value == pytest.approx(other.value, rel=0.03, abs=0.3e-3), row.text


def test_script_knows_nothing_of_the_table() -> None:
    """Its numbers are its own: no table is opened, and no model text of the library is used."""
    text = SCRIPT.read_text("utf-8")
    assert "signatures.table" not in text
    assert "import table" not in text
    own = (ROOT / "scripts" / "demo-readings.toml").read_text("utf-8")
    for path in (ROOT / "circuits" / "models").glob("*.lib"):
        model = path.read_text("utf-8").split(maxsplit=3)[-1]
        assert model.split("\n")[0] not in own
