"""What is said of a table in which not all could be simulated."""

from __future__ import annotations

from lostgain.report.text_table import table_text
from lostgain.signatures.table import Table
from tests.report import records

REASON = (
    "no transient at 500 Hz: the transient stopped at 0 s of 0.006 s (doAnalyses: TRAN: Timestep too small; "
    "time = 3.1e-16: trouble with (m25_xu1a_dlimit-instance) d.xu1a.dmore); 2 of 16 tolerance draws did not converge"
)


def said(monkeypatch, *reasons: str) -> str:
    found = records.table()
    failed = tuple((fault, why) for fault, why in zip(found.faults, reasons, strict=False))
    monkeypatch.setattr(Table, "failed", property(lambda _: failed))
    return " ".join(table_text(found).split())


def test_what_lacks_numbers_is_told_in_the_words_of_a_bench(monkeypatch) -> None:
    text = said(monkeypatch, REASON)
    assert "no transient at 500 Hz: the transient stopped at 0 s of 0.006 s; 2 of 16 tolerance draws" in text
    assert "doAnalyses" not in text
    assert "cannot be excluded" in text
    assert "rougher" not in text


def test_what_only_varies_by_an_unknown_amount_is_one_list(monkeypatch) -> None:
    text = said(
        monkeypatch,
        "11 transients of tolerance draws did not converge",
        "2 of 16 tolerance draws did not converge; 1 transients of tolerance draws did not converge",
    )
    first, second = (each.label for each in records.table().faults[:2])
    assert f"With a rougher spread --------------------- {first}, {second} Some draws" in text
    assert "Not simulated" not in text
