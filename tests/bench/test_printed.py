from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from lostgain.bench.printed import compare_printed
from lostgain.engine import Pool
from tests.bench.build import UNITS, built, changed, healthy_table


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    with Pool(workers=2) as found:
        yield found


def test_a_unit_without_a_slip_agrees(pool: Pool) -> None:
    report = compare_printed(built(UNITS / "chain", pool), pool)
    assert not report.off
    assert report.tried == 0
    assert len(report.lines) == 3
    level = next(line for line in report.lines if line.quantity == "level")
    # 200 mV · (1 + 22k/2k2) = 2.2 V, Horowitz and Hill, 3rd ed., section 4.2.2
    assert level.simulated == pytest.approx(2.2, rel=0.01)
    assert "All 3 printed values agree" in report.sentences()[0]


def test_the_table_gives_the_range(pool: Pool) -> None:
    table = healthy_table(UNITS / "chain")
    report = compare_printed(table.circuit, pool, table)
    level = next(line for line in report.lines if line.quantity == "level")
    # gain 11 with 1 % and 5 % resistors: some 6 %, and 0.5 dB on top: less than the 1.5 dB without a table
    assert 1.85 < level.low < level.simulated < level.high < 2.61


def test_a_value_out_by_ten_is_named_first_with_its_line(tmp_path: Path, pool: Pool) -> None:
    path = changed("chain", tmp_path, ("R3 22k", "R3 220k"))
    seen: list[tuple[int, int]] = []
    report = compare_printed(built(path, pool), pool, progress=lambda done, of: seen.append((done, of)))
    first = report.explanations[0]
    assert first.slip.parts == ("R3",)
    assert first.complete
    line = next(n for n, text in enumerate((path / "unit.toml").read_text().splitlines(), 1) if "R3 220k" in text)
    assert (
        first.sentence() == "R3 as 22 kΩ rather than 220 kΩ would give the printed 2.2 V rms at U1 pin 1 "
        f"(unit.toml, line {line})."
    )
    assert seen[-1] == (report.tried, report.known)
    # one level and one gain: R2 ten times as large cannot be told from it, and is named as well
    assert ("R2",) in [one.slip.parts for one in report.explanations]


def test_two_parts_swapped_are_named_first(tmp_path: Path, pool: Pool) -> None:
    path = changed("chain", tmp_path, ("R3 22k", "R3 2k2"), ("R2 2k2 5%", "R2 22k 5%"))
    report = compare_printed(built(path, pool), pool)
    assert report.explanations[0].slip.parts == ("R3", "R2")
    assert "exchanged" in report.explanations[0].sentence()


BIASED = """
[unit]
title = "Single-transistor stage"
invented = true

[rails]
VP = "{rail}"

[setup]
generator = "10 mV rms"
load = "100k"

[[stage]]
name = "Stage"
use = "common-emitter"
CIN = "C1 10u"
RB1 = "R1 47k"
RB2 = "R2 10k"
RC = "R3 4k7"
RE = "R4 1k"
CE = "C2 100u"
Q = "Q1 npn-small"
[stage.points]
out = {{ name = "Q1 collector", printed = {{ dc = "{collector}" }} }}
e = {{ name = "Q1 emitter", printed = {{ dc = "{emitter}" }} }}
"""


def biased(folder: Path, rail: str, collector: str, emitter: str) -> Path:
    file = folder / "unit.toml"
    file.write_text(BIASED.format(rail=rail, collector=collector, emitter=emitter), encoding="utf-8")
    return file


def test_a_rail_that_is_wrong_is_named_first(tmp_path: Path, pool: Pool) -> None:
    # at 24 V: base 24·10/57 = 4.2 V, emitter 0.65 V lower, collector 24 − 4.7·3.5 = 7.6 V (the base current left out)
    right = compare_printed(built(biased(tmp_path, "+24 V", "7.9 V", "3.45 V"), pool), pool)
    assert not right.off
    report = compare_printed(built(biased(tmp_path, "+12 V", "7.9 V", "3.45 V"), pool), pool)
    assert report.explanations[0].slip.parts == ("VP",)
    assert report.explanations[0].sentence().startswith("Rail VP as +24 V rather than +12 V would give")


def test_a_peak_to_peak_value_taken_for_rms_is_told(tmp_path: Path, pool: Pool) -> None:
    path = changed("chain", tmp_path, ("2.2 V rms", "6.2 V rms"))
    report = compare_printed(built(path, pool), pool)
    assert report.explanations[0].slip.kind == "printed"
    assert "peak to peak" in report.explanations[0].sentence()


def test_what_no_slip_explains_is_said(tmp_path: Path, pool: Pool) -> None:
    path = changed("chain", tmp_path, ("2.2 V rms", "950 mV rms"))
    report = compare_printed(built(path, pool), pool)
    assert report.off
    assert not report.explanations
    assert any(sentence.startswith("None of the") for sentence in report.sentences())


def test_levels_that_are_all_off_alike_point_at_the_generator(tmp_path: Path, pool: Pool) -> None:
    path = changed(
        "chain",
        tmp_path,
        ('generator = "200 mV rms"', 'generator = "100 mV rms"'),
        ('out = "TP4"', 'out = { name = "TP4", printed = { level = "548 mV rms" } }'),
    )
    report = compare_printed(built(path, pool), pool)
    assert report.explanations[0].slip.kind == "set-up"
    assert "100 mV rms" in report.explanations[0].sentence()


def test_the_time_limit_is_kept_and_said(tmp_path: Path, pool: Pool) -> None:
    path = changed("chain", tmp_path, ("R3 22k", "R3 220k"))
    report = compare_printed(built(path, pool), pool, seconds=0.0)
    assert 0 < report.tried < report.known
    assert "time limit" in report.sentences()[-1]


def test_nothing_printed_is_nothing_to_compare(pool: Pool) -> None:
    report = compare_printed(built(UNITS / "mixed", pool), pool)
    assert report.lines == ()
    assert report.sentences() == []
