"""What holds for all tests: where they may write, and that they give the same result each time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from lostgain.engine import Pool

REPOSITORY = Path(__file__).resolve().parent.parent
OWN_CACHE = REPOSITORY / ".pytest_cache" / "lostgain-tables"

# Set while this file is imported, before any test module imports lostgain or matplotlib, and inherited by each worker
# process. A signature table is stored under a key made from its content, so one made by an earlier run of the tests, or
# by another worker of pytest-xdist, is as good as a new one.
OWN_CACHE.mkdir(parents=True, exist_ok=True)
os.environ["LOSTGAIN_CACHE"] = str(OWN_CACHE)
os.environ["MPLCONFIGDIR"] = str(REPOSITORY / ".pytest_cache" / "matplotlib")
os.environ["MPLBACKEND"] = "agg"

# `derandomize` draws the same examples every time, which leaves nothing for a database of failed examples to remember.
# There is no deadline because the first call of many functions loads ngspice or scipy.
settings.register_profile(
    "lostgain", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("lostgain")


@pytest.fixture(scope="session")
def repository() -> Path:
    """The folder that holds pyproject.toml, circuits/ and sim/."""
    return REPOSITORY


@pytest.fixture(scope="session")
def table_cache() -> Path:
    """Where signature tables made by tests are kept from one run to the next."""
    return OWN_CACHE


@pytest.fixture(scope="session")
def pool() -> Iterator[Pool]:
    """One worker for all tests that are served by one; it is started anew if a test kills it."""
    from lostgain.engine import Pool  # after the environment is set

    with Pool(workers=1) as started:
        yield started


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of the test's own."""
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"
