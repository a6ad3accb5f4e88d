"""A unit's repairs, simulated and put beside the code."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from benchmarks.__main__ import main
from benchmarks.repairs import Plan, repairs, stored
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.unit import open_unit

UNIT = "state-variable-filter"
FEW = Plan(cases=3, healthy=2, outsiders=1, each=0, follow=1)


def nothing_to_do(_pool: Pool, _function: object, items: Iterable[object]) -> Iterator[object]:
    assert not list(items), "simulated what is stored"
    return iter(())


def test_another_computer_finds_all_that_is_stored(nothing_kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    circuit, said = build(open_unit(UNIT)), list[str]()
    stored([UNIT], FEW, said.append)
    assert (nothing_kept / "stored" / f"{UNIT}.npz").exists()
    assert "simulated circuits in" in said[-1]
    monkeypatch.setenv("LOSTGAIN_BENCH_CACHE", str(nothing_kept / "another"))
    monkeypatch.setattr(Pool, "imap", nothing_to_do)
    found = repairs(circuit, FEW, said.append)
    assert found.lost == 0
    assert [case.truth.kind for case in found.cases] == ["fault"] * 3 + ["healthy"] * 2 + ["outsider"]
    assert [case.truth.kind for case, _ in found.hunted] == ["fault"]
    assert {good.truth.kind for _, good in found.beside} <= {"healthy"}
    assert found.train is None


def test_a_misspelt_unit_is_told_with_the_nearest_one(nothing_kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["store", "--unit", "state-varable-filter", "--quick"]) == 2
    assert UNIT in capsys.readouterr().err
    assert not (nothing_kept / "stored").exists()


def test_what_is_no_stored_unit_is_told_and_left_alone(nothing_kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = nothing_kept / "stored" / f"{UNIT}.npz"
    file.parent.mkdir()
    file.write_text("not an archive")
    assert main(["store", "--unit", UNIT, "--quick"]) == 2
    assert str(file) in capsys.readouterr().err
    assert file.read_text() == "not an archive"
