"""Every stage's worked example runs and shows what it says; every failure of every part of it can be put in and run."""

from __future__ import annotations

from functools import cache

import pytest

from lostgain import circuit, faults
from lostgain.circuit import Circuit
from lostgain.engine import Pool
from lostgain.unit import library
from tests.circuits.example_units import MEASURES, measured, number, run_faults, unit_of
from tests.circuits.examples import SIGNAL
from tests.published.conftest import pool  # noqa: F401

STAGES = library.stage_names()


@pytest.fixture(scope="module")
def built(pool: Pool, tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]  # noqa: F811
    @cache
    def of(name: str) -> Circuit:
        return circuit.build(unit_of(library.stage(name), tmp_path_factory.mktemp(name)), pool)

    return of


@pytest.mark.parametrize("name", STAGES)
def test_the_example_fills_every_role_and_names_its_source(name: str) -> None:
    example = library.stage(name).example
    assert example is not None
    assert example.says
    assert example.source
    assert example.shows
    assert set(example.parts) == set(library.stage(name).roles)
    assert {shown.quantity for shown in example.shows} <= set(MEASURES)


@pytest.mark.parametrize("name", SIGNAL)
def test_the_example_shows_what_it_says(name: str, built) -> None:  # type: ignore[no-untyped-def]
    example = library.stage(name).example
    assert example is not None
    for shown in example.shows:
        found = measured(built(name), shown)
        about = f"{shown.quantity} at {shown.at}: {found:.6g}"
        if shown.value:
            wanted, within = number(shown.value), number(shown.within)
            allowed = abs(wanted) * within if shown.within.endswith("%") else within
            assert abs(found - wanted) <= allowed, f"{about} instead of {shown.value} ± {shown.within}"
        if shown.at_most:
            assert found <= number(shown.at_most), f"{about} instead of at most {shown.at_most}"
        if shown.at_least:
            assert found >= number(shown.at_least), f"{about} instead of at least {shown.at_least}"


@pytest.mark.parametrize("name", SIGNAL)
def test_every_failure_of_every_part_can_be_put_in_and_run(name: str, built, pool: Pool) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    found = built(name)
    listed = faults.listing(found)
    meant = {fault.part for fault in listed} | {member.part for fault in listed for member in fault.members}
    assert {part for part in found.unit.parts if found.unit.parts[part].stage == "Example"} <= meant
    outcome = pool.map(run_faults, [(found, listed)])[0]
    assert outcome.error is None
    assert outcome.value == []
