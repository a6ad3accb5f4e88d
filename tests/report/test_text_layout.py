"""Text for a terminal: never wider than a line, nothing lost, nothing a terminal would obey."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from lostgain.report.text_layout import WIDTH, clean, joined, section, table, wrapped


def without_spaces(lines: list[str]) -> str:
    return "".join("".join(lines).split())


@given(st.text(max_size=300), st.integers(0, 20), st.integers(24, 100))
def test_a_paragraph_fits_and_keeps_every_letter(text: str, indent: int, width: int) -> None:
    lines = wrapped(text, " " * indent, width=width)
    assert all(cell_len(line) <= width for line in lines)
    assert without_spaces(lines) == "".join(clean(text).split())


@given(st.lists(st.lists(st.text(max_size=60), min_size=4, max_size=4), min_size=1, max_size=6))
def test_a_table_fits(rows: list[list[str]]) -> None:
    lines = table(rows, "<<>>", ["Test point", "", "Read", "Predicted"])
    assert all(cell_len(line) <= WIDTH for line in lines)


@given(st.text(max_size=100))
def test_nothing_is_left_for_a_terminal_to_obey(text: str) -> None:
    assert not any(unicodedata.category(sign) in ("Cc", "Cf") for sign in clean(text))


def test_columns_stand_below_each_other() -> None:
    assert table([("TP1", "2 V"), ("U1 pin 1", "200 mV")], "<>", indent="") == ["TP1          2 V", "U1 pin 1  200 mV"]


def test_blocks_and_headings() -> None:
    assert joined([section("Read"), [], ["a"]]) == "Read\n----\n\na"
