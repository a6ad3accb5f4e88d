"""Netlists with their supply in them: transformer, rectifier and reservoirs become supply stages."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.netlists import Imported, import_netlist
from lostgain.netlists.write import write_unit
from lostgain.unit import open_unit

FOLDER = Path(__file__).with_name("corpus") / "mains"
#: Netlist: stage, parts that became its own, what the transformer is, and its rails.
CASES = {
    "bridge.cir": ("supply-bridge", {"D1", "D2", "D3", "D4", "C1"}, "T1 229.8:14.98 transformer_mains", {"VCC": 19.7}),
    "split.cir": (
        "supply-split", {"D1", "D2", "D3", "D4", "C1", "C2"}, "T1 230:28.28 transformer_mains_tapped",
        {"VP": 19.2, "VN": -19.2},
    ),
    "half-wave.cir": ("supply-half-wave-negative", {"D1", "C1"}, "T1 229.8:14.98 transformer_mains", {"VEE": -20.2}),
}  # fmt: skip


def said(found: Imported) -> str:
    return " ".join(f"{guess.sure} {guess.about} {guess.text}" for guess in found.guesses)


@pytest.mark.parametrize("name", CASES)
def test_a_supply_becomes_a_stage_that_delivers_the_same_rails(name: str, pool: Pool, tmp_path: Path) -> None:
    """The rails of the unit, from a real transformer and real rectifiers, are within 3 % of the netlist's."""
    stage, parts, transformer, rails = CASES[name]
    found = import_netlist(FOLDER / name, pool=pool)
    assert found.rails == pytest.approx(rails, rel=0.02)
    assert found.worst < 0.03
    assert f"became the supply stage {stage}" in said(found)
    assert not re.search(r"^[DLK]", found.netlist, re.MULTILINE)
    write_unit(found, tmp_path / "unit")
    unit = open_unit(tmp_path / "unit")
    assert [each.library for each in unit.supplies] == [stage]
    own = {name: part for name, part in unit.parts.items() if part.stage == "Mains supply"}
    assert set(own) == parts | {"F1", "T1"}
    assert f'T = "{transformer}"' in found.unit_toml
    assert set(build(unit, pool).parts) >= {*own, "Q1"} - ({"Q1"} if name == "split.cir" else set())


def test_a_supply_that_no_stage_is_like_leaves_its_rails(pool: Pool) -> None:
    found = import_netlist(FOLDER / "two-diodes.cir", pool=pool)
    assert found.rails == pytest.approx({"VCC": 15.5}, rel=0.02)
    assert "doubtful supply no stage of the library is like this one" in said(found)
    assert "[[supply]]" not in found.unit_toml
    assert not {"D1", "D2", "C1"} & {part.board for part in found.parts}
