"""What the benchmarks' tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import kept


@pytest.fixture
def nothing_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Have a computer that has simulated nothing, and an empty folder beside the code; return the folder of both."""
    monkeypatch.setattr(kept, "STORED", tmp_path / "stored")
    monkeypatch.setenv("LOSTGAIN_BENCH_CACHE", str(tmp_path / "kept"))
    return tmp_path
