"""A unit's repairs, simulated and put beside the code."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import kept, repairs
from benchmarks.__main__ import main
from benchmarks.repairs import Plan, stored
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.unit import open_unit

UNIT = "state-variable-filter"
FEW = Plan(cases=3, healthy=2, outsiders=1, each=0, follow=1)


class Idle(Pool):
    """A pool that has nothing to do."""

    def imap(self, function, items):  # type: ignore[no-untyped-def]
        assert not list(items), "simulated what is stored"
        return iter(())


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder beside the code, and a computer that has simulated nothing."""
    monkeypatch.setattr(kept, "STORED", tmp_path / "stored")
    monkeypatch.setenv("LOSTGAIN_BENCH_CACHE", str(tmp_path / "first"))
    return tmp_path


def test_another_computer_finds_all_that_is_stored(shelf: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    stored([UNIT], FEW, said.append)
    assert (shelf / "stored" / f"{UNIT}.npz").exists()
    assert "simulated circuits in" in said[-1]
    monkeypatch.setenv("LOSTGAIN_BENCH_CACHE", str(shelf / "second"))
    monkeypatch.setattr(repairs, "Pool", Idle)
    found = repairs.repairs(build(open_unit(UNIT)), FEW, said.append)
    assert found.lost == 0
    assert [case.truth.kind for case in found.cases] == ["fault"] * 3 + ["healthy"] * 2 + ["outsider"]
    assert [case.truth.kind for case, _ in found.hunted] == ["fault"]
    assert {good.truth.kind for _, good in found.beside} <= {"healthy"}
    assert found.train is None


def test_a_misspelt_unit_is_told_with_the_nearest_one(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["store", "--unit", "state-varable-filter", "--quick"]) == 2
    assert UNIT in capsys.readouterr().err
    assert not (shelf / "stored").exists()


def test_what_is_no_stored_unit_is_told_and_left_alone(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = shelf / "stored" / f"{UNIT}.npz"
    file.parent.mkdir()
    file.write_text("not an archive")
    assert main(["store", "--unit", UNIT, "--quick"]) == 2
    assert str(file) in capsys.readouterr().err
    assert file.read_text() == "not an archive"
