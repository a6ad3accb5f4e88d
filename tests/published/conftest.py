"""Workers shared by the tests against published circuits."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from lostgain.engine import Pool


@pytest.fixture(scope="session")
def pool() -> Iterator[Pool]:
    with Pool(workers=2, time_limit=120) as started:
        yield started
