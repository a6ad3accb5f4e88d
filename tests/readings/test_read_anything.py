"""Whatever a file holds, it is read or refused with its line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.problems import UserError
from lostgain.readings import SIGNS
from tests.readings.example import POINTS, TWO_ZONES
from tests.readings.test_read import taken

cells = st.one_of(
    st.sampled_from(
        [
            "VPP",
            "mains",
            "120 mA",
            "23 W",
            "hum",
            "seen",
            "Q5 base-emitter",
            "OL",
            "> 10 Vpp",
            "all",
            *POINTS,
            "1.2 Vpp",
            "-18 dBu",
            "nothing",
            "ok",
            "Zone B",
            "500 Hz",
            "dc",
            "level",
            "can't reach",
            "<2 mV",
        ]
    ),
    st.text(max_size=12),
)
headings = st.sampled_from(
    ["test point", "value", "quantity", "freq", "channel", "instrument", "note", "against", "", "value (V)"]
)


@given(
    st.lists(headings, min_size=1, max_size=6),
    st.lists(st.lists(cells, min_size=1, max_size=6), max_size=5),
    st.sampled_from(",;\t"),
)
def test_any_table_is_read_or_refused(header: list[str], rows: list[list[str]], delimiter: str) -> None:
    text = "\n".join(delimiter.join(line) for line in [header, *rows])
    try:
        readings = taken(text.encode("utf-8", "replace"), TWO_ZONES)
    except UserError as error:
        assert "line" in str(error) or "readings.csv" in str(error)  # noqa: PT017
        return
    assert readings.rows
    for row in readings.rows:
        assert row.word or row.value is not None
        places = {"current": ("VPP", "VNN", "VP"), "mains watts": ("mains",)}.get(row.quantity, POINTS)
        assert row.point in places or (row.quantity in SIGNS and not row.point)
        assert not row.against or (row.against in POINTS and row.against != row.point)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    with pytest.raises(UserError):
        taken(raw)


@given(st.text(max_size=30))
def test_any_value_is_read_or_refused(text: str) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    try:
        readings = taken(f"point,value,note\nTP4,1 Vpp,\nTP4,{quoted},\n".encode("utf-8", "replace"))
    except UserError as error:
        assert "line" in str(error)  # noqa: PT017
        return
    assert len(readings.rows) in (1, 2)
