"""What an opened unit holds, and that opening is quick and never fails on odd text."""

from __future__ import annotations

import time
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain.problems import UserError
from lostgain.unit import called, find_units, open_unit
from lostgain.unit.summary import summary

UNITS = Path(__file__).resolve().parents[1] / "units"


def test_a_chain_has_its_parts_with_value_tolerance_and_line() -> None:
    unit = open_unit(UNITS / "chain")
    assert list(unit.parts) == ["VP", "VN", "F1", "C1", "R1", "U1A", "R3", "R2", "C2", "RV1"]
    r3, r2, c2, u1a = (unit.parts[name] for name in ("R3", "R2", "C2", "U1A"))
    assert (r3.kind, r3.value, r3.stage, r3.role, r3.where.line) == ("resistor", 22e3, "Gain stage", "RF", 47)
    assert (r3.tolerance, r2.tolerance) == ((-0.01, 0.01), (-0.05, 0.05))  # [tolerances], and the part's own over it
    assert (c2.tolerance, c2.rating) == ((-0.2, 0.5), 16.0)
    assert (u1a.device, u1a.pins) == ("opamp-jfet", ("inp", "inn", "vp", "vn", "out"))
    assert "gain" in r3.does
    assert unit.stages[1].rails == {"vp": "VP", "vn": "VN"}
    assert unit.stages[3].gain == pytest.approx(10 ** (-6 / 20))


def test_rails_fuses_and_reservoirs() -> None:
    unit = open_unit(UNITS / "chain")
    assert [(rail.name, rail.volts, rail.resistance, rail.fuse) for rail in unit.rails] == [
        ("VP", 15.0, 0.1, ""),
        ("VN", -15.0, 0.5, "F1"),
    ]
    assert (unit.parts["VN"].kind, unit.parts["F1"].kind, unit.parts["F1"].stage) == ("rail", "fuse", "supply")
    [reservoir] = unit.reservoirs
    assert (reservoir.designator, reservoir.volts, reservoir.bleeder) == ("C301", 15.0, 4.7e3)
    assert reservoir.capacitance == pytest.approx(2200e-6)


def test_points_are_in_signal_order_and_know_their_node() -> None:
    unit = open_unit(UNITS / "chain")
    assert [(point.name, point.node) for point in unit.points] == [
        ("J1 hot", "Input coupling/in"),
        ("U1 pin 3", "Gain stage/in"),
        ("U1 pin 1", "Gain stage/out"),
        ("RV1, wiper", "Panel/out"),
        ("TP4", "Line driver/out"),
    ]
    assert (unit.point("U1 pin 3").minutes, unit.point("RV1, wiper").reach) == (2.0, False)
    assert {(item.quantity, item.value) for item in unit.point("U1 pin 1").printed} == {("dc", 0.0), ("level", 2.2)}


def test_the_other_channel_renumbers_parts_and_packages_but_not_the_supply() -> None:
    first, second = open_unit(UNITS / "chain").channels
    assert [second.called(name) for name in ("R3", "U1A", "RV1", "F1", "VP")] == ["R103", "U101A", "RV101", "F1", "VP"]
    assert called(second, "U1 pin 3") == "U101 pin 3"
    assert called(second, "R3, hot end at U1A") == "R103, hot end at U101A"
    assert called(second, "J1 hot") == "J2 hot"  # the exception
    assert called(first, "U1 pin 3") == "U1 pin 3"


def test_parts_of_a_netlist_with_what_the_unit_file_adds() -> None:
    unit = open_unit(UNITS / "mixed")
    r1, c11, u1a, d1 = (unit.parts[name] for name in ("R1", "C11", "U1A", "D1"))
    assert (r1.value, r1.tolerance, r1.role) == (10e3, (-0.01, 0.01), "R1")
    assert (c11.kind, c11.role, c11.value) == ("film", "C1", pytest.approx(100e-12))
    assert (u1a.kind, u1a.role, u1a.pins) == ("opamp", "X1", ("inp", "inn", "vp", "vn", "out"))
    assert (d1.kind, d1.where.file, d1.where.line) == ("diode", UNITS / "mixed" / "receiver.cir", 10)
    assert unit.parts["R2"].where.line == 5  # where the element begins, not its continuation
    assert unit.left_out == ("X2",)
    assert "R4" in unit.parts


def test_a_unit_that_is_one_netlist() -> None:
    unit = open_unit(UNITS / "filter")
    assert unit.netlist == UNITS / "filter" / "filter.cir"
    assert (unit.input, unit.output) == ("in", "lp")
    assert {part.designator: part.stage for part in unit.parts.values() if part.stage != "supply"} == {
        "R1": "First section",
        "C1": "First section",
        "R2": "Second section",
        "C2": "Second section",
        "U1": "Second section",
    }
    assert unit.parts["R1"].tolerance == (-0.03, 0.03)
    assert [(point.node, point.stage) for point in unit.points] == [("a", "First section"), ("lp", "Second section")]


def test_a_netlist_without_boundaries_is_one_stage(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text("title\nR1 in out 1k\nC1 out 0 1n\n", encoding="utf-8")
    (tmp_path / "unit.toml").write_text(
        '[unit]\ntitle = "A"\nnetlist = "a.cir"\ninput = "in"\noutput = "out"\n[setup]\ngenerator = "1 V rms"\n',
        encoding="utf-8",
    )
    unit = open_unit(tmp_path)
    assert [(stage.name, stage.output) for stage in unit.stages] == [("Circuit", "out")]
    assert {part.stage for part in unit.parts.values()} == {"Circuit"}


def test_units_are_found_in_a_folder_and_opened_by_folder_or_file() -> None:
    found = {unit.name: unit for unit in find_units(UNITS) if not unit.shipped}
    assert {"chain", "mixed", "filter"} <= set(found)
    assert found["mixed"].title == "Talkback receiver"
    assert open_unit(str(found["mixed"].path)) == open_unit(UNITS / "mixed")


def test_every_shipped_unit_opens_by_its_name() -> None:
    for unit in find_units():
        assert open_unit(unit.name).title == unit.title


def test_a_summary_has_every_part_and_point_of_all_channels() -> None:
    unit = open_unit(UNITS / "chain")
    held = summary(unit)
    assert sum(len(stage.parts) for stage in held.stages) == held.part_count == len(unit.parts)
    assert [point.names for point in held.points][1] == ("U1 pin 3", "U101 pin 3")
    assert held.minutes == 2 * (1 + 2 + 1 + 1)  # two channels; the wiper can't be reached
    shown = {part.designator: (part.value, part.tolerance) for stage in held.stages for part in stage.parts}
    assert shown["C2"] == ("47 µF", "-20/+50 %")
    assert shown["R3"] == ("22 kΩ", "±1 %")
    assert shown["U1A"] == ("opamp-jfet", "")


@pytest.mark.parametrize("name", ["chain", "mixed", "filter"])
def test_opening_takes_less_than_50_ms(name: str) -> None:
    open_unit(UNITS / name)  # the library's facts are read once
    times = []
    for _ in range(3):
        start = time.perf_counter()
        open_unit(UNITS / name)
        times.append(time.perf_counter() - start)
    assert min(times) < 0.05


def opens_or_says_why(folder: Path, text: str, name: str = "unit.toml") -> None:
    (folder / name).write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        open_unit(folder)
    except UserError as error:
        problems = error.problems
    else:
        return
    assert problems
    for problem in problems:
        assert problem.where.file is not None
        assert "\n" not in str(problem)
        assert len(problem.message) < 2000


CHAIN = (UNITS / "chain" / "unit.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("odd")


@settings(max_examples=100)
@given(st.data())
def test_odd_text_is_opened_or_refused_with_a_message(scratch: Path, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(CHAIN)))
    end = data.draw(st.integers(start, min(start + 12, len(CHAIN))))
    put_in = data.draw(st.text(max_size=8))
    opens_or_says_why(scratch, CHAIN[:start] + put_in + CHAIN[end:])


VALUES = st.recursive(
    st.one_of(
        st.integers(),
        st.floats(),
        st.booleans(),
        st.text(max_size=6),
        st.sampled_from(
            ["R1 22k", "5%", "-6 dB", "+15 V", "U1A opamp-jfet", "buffer", "stand-in", "a.cir", "in", "VP"]
        ),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(
                ["name", "use", "volts", "fuse", "out", "printed", "dc", "level", "kind", "as", "pins", "RF", "\n"]
            ),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=5,
)


def places(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inner = list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())
    return [path, *(deep for key, item in inner for deep in places(item, (*path, key)))]


def written(value: Any) -> str:
    """Return a value as inline TOML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{written(key)} = {written(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, str):
        escaped = "".join(
            letter if letter.isalnum() and letter.isascii() else f"\\U{ord(letter):08x}" for letter in value
        )
        return f'"{escaped}"'
    return str(value).lower()


@settings(max_examples=150)
@given(st.sampled_from(["chain", "mixed", "filter"]), st.data())
def test_any_value_in_any_place_is_opened_or_refused_with_a_message(
    scratch: Path, name: str, data: st.DataObject
) -> None:
    rows = tomllib.loads((UNITS / name / "unit.toml").read_text(encoding="utf-8"))
    path = data.draw(st.sampled_from([place for place in places(rows) if place]))
    inside: Any = rows
    for step in path[:-1]:
        inside = inside[step]
    inside[path[-1]] = data.draw(VALUES.filter(lambda value: "\ud800" not in repr(value)))
    for netlist in UNITS.glob("*/*.cir"):
        (scratch / netlist.name).write_bytes(netlist.read_bytes())
    opens_or_says_why(scratch, "\n".join(f"{written(key)} = {written(value)}" for key, value in rows.items()))


ELEMENTS = ["R1", "X1", "Q1", "in", "a", "10k", "2k2", "{x}", "r=", "d(", "params:", "a.cir", "é", "`", "\0"]
MARKS = [
    "+",
    "*",
    "=",
    "'",
    '"',
    ";",
    "$",
    "\n",
    "\n",
    "\n",
    ".subckt",
    ".ends",
    ".include",
    ".model",
    ".control",
    ".endc",
]
NETLIST_WORDS = st.sampled_from(ELEMENTS + MARKS)


@settings(max_examples=100)
@given(st.lists(NETLIST_WORDS, max_size=30).map(" ".join))
def test_any_netlist_is_opened_or_refused_with_a_message(scratch: Path, text: str) -> None:
    (scratch / "filter.cir").write_text(f"title\n{text}\n", encoding="utf-8")
    opens_or_says_why(scratch, (UNITS / "filter" / "unit.toml").read_text(encoding="utf-8"))
