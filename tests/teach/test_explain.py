"""A unit explained: nothing left out, numbers as the table has them, readable."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from lostgain import build_circuit, explain_html, explain_record, explain_text, open_unit
from lostgain.bench import cautions
from lostgain.faults import listing, rates
from lostgain.report.explain_html import own_names
from lostgain.signatures import sentences
from lostgain.signatures.sentences import DC_RIGHT, NO_MARK
from lostgain.signatures.tabled import tabled
from lostgain.teach import outlook
from lostgain.teach.explain import ExplainedStage, explain
from tests.diagnosis.megaphone import megaphone
from tests.tables import with_some_faults


@cache
def stages() -> tuple[ExplainedStage, ...]:
    return explain(megaphone(), rates("bench"))


def test_every_part_and_point_is_explained_once() -> None:
    unit = megaphone().circuit.unit
    parts = [part.part.designator for stage in stages() for part in stage.parts]
    assert sorted(parts) == sorted(unit.parts)
    points = [point.point.name for stage in stages() for point in stage.points]
    assert sorted(points) == sorted(point.name for point in unit.points)


def test_every_failure_of_the_table_is_explained_once() -> None:
    told = [(each.fault.part, each.fault.mode) for stage in stages() for part in stage.parts for each in part.failures]
    assert len(told) == len(set(told))
    assert set(told) == {(fault.part, fault.mode) for fault in megaphone().faults if not fault.members}


def test_supply_stages_are_explained_too() -> None:
    """The last stage of the megaphone stands in for one: its table costs no transients."""
    table = megaphone()
    unit = table.circuit.unit
    fed = replace(unit, stages=unit.stages[:-1], supplies=unit.stages[-1:])
    ends = {name: node for name, node in table.circuit.stage_ends.items() if name != unit.stages[-1].name}
    circuit = replace(table.circuit, unit=fed, stage_ends=ends)
    found = explain(replace(table, circuit=circuit), rates("bench"))
    parts = [part.part.designator for stage in found for part in stage.parts]
    assert sorted(parts) == sorted(unit.parts)
    assert found[-2 if "supply" in found[-1].name else -1].name == unit.stages[-1].name


def test_what_tells_a_failure_is_of_the_severity_that_is_described() -> None:
    """The wrong part may be ten times too large or too small: no level is called low, and its reading high."""
    table = with_some_faults(
        build_circuit(open_unit("state-variable-filter")),
        lambda circuit: [each for each in listing(circuit) if each.part in ("R1", "R2", "C1", "U1")],
    )
    failures = {(each.fault.part, each.fault.mode): each for stage in explain(table, rates("bench"))
                for part in stage.parts for each in part.failures}  # fmt: skip
    # R1 takes the input to the summing point and is in no loop: ten times as large, all outputs are a tenth.
    wrong = failures["R1", "wrong"]
    assert wrong.fault.severity == 10
    assert "dB low at" in wrong.sees[0]
    assert "low" in wrong.telling


def test_however_improbable_a_failure_is_a_level_far_off_tells_it() -> None:
    lost = [each for stage in stages() for part in stage.parts for each in part.failures
            if re.search(r"(gone|\d\d dB (low|high)) at", each.sees[0])]  # fmt: skip
    assert {"wrong", "joint"} <= {each.fault.mode for each in lost}  # of the rarest
    assert [f"{each.fault.label}" for each in lost if not each.telling] == []


def test_no_reading_tells_a_failure_that_leaves_it_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a few draws of each failure some reading or other is odd in most of them by chance."""
    table = megaphone()
    for seed in (21, 24, 26):
        monkeypatch.setattr(outlook, "SEED", seed)
        failures = [each for stage in explain(table, rates("bench")) for part in stage.parts for each in part.failures]
        for failure in failures:
            if ", level" not in failure.telling:
                continue
            row, point = (
                table.faults.index(failure.fault) + 1,
                table.points.index(failure.telling.partition(", level")[0]),
            )
            levels = table.values("level")[:, 0, point]
            assert np.abs(np.log(levels[row] / levels[0])).max() > 0.05, failure.fault.label


def test_what_tells_an_open_coupling_capacitor_is_the_signal_behind_it() -> None:
    """Common practice, no source: an open coupling capacitor leaves the signal ahead of it and takes it behind."""
    failures = {(each.fault.part, each.fault.mode): each for stage in stages() for part in stage.parts
                for each in part.failures}  # fmt: skip
    assert any("gone" in text or "low" in text for text in failures["C1", "open"].sees)
    assert "level" in failures["C1", "open"].telling


def test_no_failure_leaves_no_mark_and_has_a_reading_that_shows_it() -> None:
    failures = [each for stage in stages() for part in stage.parts for each in part.failures]
    slight = [each for each in failures if NO_MARK in sentences(tabled(megaphone(), each.fault))]
    assert any(each.telling for each in slight)  # as a small offset: DC tells it, and no sentence does
    assert all((NO_MARK in each.sees) != bool(each.telling) for each in slight)


def test_a_larger_coupling_capacitor_is_not_told_by_dc() -> None:
    """Common practice, no source: a capacitor of another value blocks DC as well."""
    failures = {(each.fault.part, each.fault.mode): each for stage in stages() for part in stage.parts
                for each in part.failures}  # fmt: skip
    wrong = [each for (part, _), each in failures.items() if part == "C1" and "10 µF fitted" in each.says]
    assert wrong
    assert all("dc" not in each.telling for each in wrong)
    assert "level at 40 Hz" in failures["C1", "lost"].telling  # at whatever is left, there is less bass


def test_names_in_a_drawing_are_made_its_own_where_they_are_names() -> None:
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"><metadata>x</metadata>'
        '<g id="r"><text>"#r" and (#r)</text><path id="a1" style="clip-path: url(#r)"/><use xlink:href="#a1"/>'
        "</g></svg>"
    )
    own = own_names(drawing, "one")
    assert '<text>"#r" and (#r)</text>' in own  # what is written on the drawing stays
    assert 'id="one-r"' in own
    assert 'id="one-a1" style="clip-path: url(#one-r)"' in own
    assert 'xlink:href="#one-a1"' in own
    assert "metadata" not in own


def test_it_can_be_read() -> None:
    unit = megaphone().circuit.unit
    text = explain_text(stages(), unit, megaphone().frequencies)
    assert max(map(len, text.splitlines())) <= 80
    page = explain_html(stages(), unit, megaphone().frequencies, cautions(unit))
    names = re.findall(r'id="([^"]+)"', page)
    assert len(names) == len(set(names))
    assert page.count("<svg") == sum(stage.stage is not None and stage.stage.source == "library" for stage in stages())
    assert not re.search(r'(src|href)="[^#"]', page)  # nothing is fetched from anywhere
    assert len(explain_record(stages(), megaphone().frequencies)["stages"]) == len(stages())


def test_a_failure_that_only_ripple_tells_says_so() -> None:
    table = megaphone()
    row = next(number for number, fault in enumerate(table.faults, 1) if (fault.part, fault.mode) == ("C2", "open"))
    level = table.data["level"].isel(frequency=0, drop=True)
    ripple = (0 * level).fillna(0.0) + 1e-3
    ripple[row] = 0.2
    failures = {(each.fault.part, each.fault.mode): each
                for stage in explain(replace(table, data=table.data.assign(ripple=ripple)), rates("bench"))
                for part in stage.parts for each in part.failures}  # fmt: skip
    assert failures["C2", "open"].telling == "the ripple"
    assert "ripple" not in failures["C3", "open"].telling


def test_a_failure_that_dc_tells_is_not_said_to_leave_dc_alone() -> None:
    told = [each for stage in stages() for part in stage.parts for each in part.failures if ", dc" in each.telling]
    assert told
    assert not [each.fault.label for each in told if DC_RIGHT in each.sees]
    # Offsets move DC by less than what the sentences call changed.
    assert any(DC_RIGHT in sentences(tabled(megaphone(), each.fault)) for each in told)


def test_a_table_says_how_far_dc_lies_apart_too() -> None:
    table = megaphone()
    row = 1 + [fault.label for fault in table.faults].index("R6 open")
    found = tabled(table, table.faults[row - 1]).faulty.dc_range
    draws = table.values("dc")[row, 1:]
    assert np.array_equal(found, [np.nanmin(draws, axis=0), np.nanmax(draws, axis=0)])
