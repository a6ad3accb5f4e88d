"""A missing or old ngspice is named, with the line to type."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.engine import library
from lostgain.problems import UserError


@pytest.fixture(autouse=True)
def _forget():
    library.find.cache_clear()
    yield
    library.find.cache_clear()


@pytest.mark.parametrize("told", [True, False])
def test_missing_library_gives_the_line_for_each_system(monkeypatch: pytest.MonkeyPatch, told: bool) -> None:
    if told:
        monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so")
    else:
        monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
        monkeypatch.setattr(library, "_loads", lambda name: False)
    with pytest.raises(UserError) as missing:
        library.find()
    for system in ("Debian/Ubuntu", "Fedora", "macOS", "Windows"):
        assert any(line.strip().startswith(system) for line in str(missing.value).splitlines())
    assert ("/nowhere/libngspice.so" in str(missing.value)) is told


def test_library_is_found_without_being_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    assert "ngspice" in Path(library.find()).name


def test_old_version_is_refused() -> None:
    library.check_version(36)
    with pytest.raises(UserError, match=r"ngspice 34 is installed.*36"):
        library.check_version(34)
