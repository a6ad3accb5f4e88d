"""A circuit, changed copies of a unit, and a table of the healthy row alone: what the tests of this folder need."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path

from lostgain import circuit
from lostgain.circuit import Circuit
from lostgain.engine import Pool
from lostgain.signatures import Table
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from lostgain.signatures.table import assembled
from lostgain.unit import open_unit

UNITS = Path(__file__).resolve().parents[1] / "units"
DRAWS = 16


@cache
def healthy_table(path: Path) -> Table:
    """A signature table without faults: the sheet uses no other row."""
    with Pool(workers=1) as pool:
        made = circuit.build(open_unit(path), pool)
        numbers = varied(made)
        task = RowTask(made, (), numbers, deviates(DRAWS, len(numbers), seed=1), slow_draws=0)
        outcome = pool.map(run_row, [task])[0]
    assert outcome.error is None, outcome.error
    return assembled(made, (), [outcome.value], "0123456789abcdef", 1)


def changed(unit: str, folder: Path, *changes: tuple[str, str]) -> Path:
    """A copy of a test unit with words of its unit file replaced."""
    copy = folder / unit
    shutil.copytree(UNITS / unit, copy)
    text = (copy / "unit.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    (copy / "unit.toml").write_text(text, encoding="utf-8")
    return copy


def built(path: Path, pool: Pool) -> Circuit:
    return circuit.build(open_unit(path), pool)
