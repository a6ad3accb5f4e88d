"""Fuzzing of files: unit files, netlists of a stage and of a whole unit, readings, tables of a file's keys."""

from __future__ import annotations

import contextlib
import math
import shutil
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

import lostgain
from lostgain.circuit.compose import compose
from lostgain.circuit.listing import parse_listing
from lostgain.diagnosis.allowances import allowances
from lostgain.engine import CircuitRefused, refuse, resolve_includes
from lostgain.engine.plain import plain_sources
from lostgain.problems import UserError
from lostgain.unit.netlistparts import read_netlist
from lostgain.unit.positions import Positions
from tests.fuzz.cases import file_near, fuzzed, text_near

UNITS = Path(__file__).parents[1] / "units"
CHAIN = lostgain.open_unit(UNITS / "chain")
UNIT_FILES = {
    name: (UNITS / name / "unit.toml").read_text("utf-8") for name in ("chain", "mixed", "filter", "megaphone")
}
FILTER = (UNITS / "filter" / "filter.cir").read_text("utf-8")
RECEIVER = (UNITS / "mixed" / "receiver.cir").read_text("utf-8")
WEAK = (Path(__file__).parents[1] / "cli" / "weak.csv").read_text("utf-8")

#: Values of TOML that are of the wrong sort wherever they stand.
TOML = [
    " = nan", " = inf", " = -1", " = []", " = {}", " = true", " = 1979-05-27T07:32:00Z", ' = ""', ' = "x"',
    " = [[1]]", " = 07:32:00", " = { a = 1 }", " = '''", "[[", "]]", "[stage]", "[[stage]]", "[[channel]]",
    "[setup]", "[parts]", '"\\u0000"', '"\\ud800"', "\\", " = 9999999999999999999", ' = "1e400"', ' = ["a", 1]',
    "[[point]]", "[unit]",
]  # fmt: skip
SPICE = [
    ".subckt", ".ends", ".model", ".param", ".func", "{", "}", "'", "params:", "=", "X1", "Q1", "poly(2)", "table {",
    " 0 ", "2k2", "1e400", ".include", ".lib", ".endl", "+", "*", ";", "$", "pwl(", "(", ")", "v(", "npn(", "dc",
    ".func f(x) {f(x)}", ".subckt s a b", "X1 a b s", ".options", ".ic", "K1 L1 L2 1", "E1 a 0 b 0 1",
]  # fmt: skip


@contextlib.contextmanager
def copy(name: str, **files: str) -> Iterator[Path]:
    """Copy a unit, with other texts in some of its files."""
    with tempfile.TemporaryDirectory() as folder:
        unit = Path(folder) / name
        shutil.copytree(UNITS / name, unit)
        for file, text in files.items():
            (unit / file.replace("_", ".")).write_bytes(text.encode("utf-8", "surrogatepass"))
        yield unit


def opened(folder: Path) -> None:
    """Open a unit and write its netlist; every mistake names a file of the unit's."""
    try:
        compose(lostgain.open_unit(folder))
    except UserError as error:
        found = error.problems
    else:
        return
    assert found
    for each in found:
        assert each.where.file is not None
        assert folder in (each.where.file, *each.where.file.parents)
        assert each.where.line is None or each.where.line >= 1


OTHERS = [line for text in UNIT_FILES.values() for line in text.splitlines()]


@fuzzed(0.5)
@given(st.sampled_from(sorted(UNIT_FILES)).flatmap(
    lambda name: st.tuples(st.just(name), file_near(UNIT_FILES[name], TOML, OTHERS))))  # fmt: skip
def test_unit_file(case: tuple[str, str]) -> None:
    name, text = case
    with copy(name, unit_toml=text) as folder:
        opened(folder)


@fuzzed(0.5)
@given(file_near(FILTER, SPICE, RECEIVER.splitlines()))
def test_unit_that_is_a_netlist(text: str) -> None:
    with copy("filter", filter_cir=text) as folder:
        opened(folder)


@fuzzed(0.5)
@given(file_near(RECEIVER, SPICE, FILTER.splitlines()))
def test_netlist_of_a_stage(text: str) -> None:
    with copy("mixed", receiver_cir=text) as folder:
        opened(folder)


@fuzzed()
@given(file_near(f"{FILTER}\n{RECEIVER}", SPICE), st.sampled_from(["", "receiver", "s"]))
def test_netlist(text: str, subckt: str) -> None:
    with contextlib.suppress(UserError):
        cleaned = refuse(text.splitlines())
        assert not any(set('`;"$\\@\n\r\0') & set(line) for line in cleaned)
        plain_sources(cleaned)
        with contextlib.suppress(CircuitRefused):
            parse_listing(cleaned)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.cir"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        read_netlist(path, path.parent, subckt)
        with contextlib.suppress(UserError):
            lines = resolve_includes(path, path.parent)
            assert refuse(lines) == lines  # what was let through is let through again, the same


@fuzzed()
@given(st.one_of(file_near(UNIT_FILES["mixed"], TOML), text_near(OTHERS, TOML)))
def test_positions(text: str) -> None:
    text = text.replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError):
        return
    positions = Positions(text)
    for key in data:
        line = positions.line((key,))
        assert line is not None
        assert 1 <= line <= text.count("\n") + 1


CELLS = [
    "nan", "1e999 V", "1,2 Vpp", "Zone B", '"', '""', ";", "\t", "#", "# channel: Up line", "same as good", "\0",
    "=1", "U1 pin 1", "TP4", "level", "dc", "500 Hz", "value", "test point", "against", "note", "can't reach",
    "< 2 mV", ",",
]  # fmt: skip


ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "utf-32"]


@fuzzed()
@given(
    st.one_of(file_near(WEAK, CELLS), file_near(WEAK.replace(",", ";"), CELLS)),
    st.sampled_from(ENCODINGS),
    st.binary(max_size=4),
)
def test_readings_file(text: str, encoding: str, tail: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "taken.csv"
        path.write_bytes(text.encode(encoding, "replace") + tail)
        try:
            readings = lostgain.read_readings(path, CHAIN)
        except UserError as error:
            found = error.problems
        else:
            found = ()
        assert all(each.where.file == path for each in found)
        assert len(found) <= 101
        if found:
            return
        again = Path(folder) / "again.csv"
        lostgain.write_readings(again, readings, CHAIN)
        second = lostgain.read_readings(again, CHAIN, may_be_empty=True)
        assert [_said(row) for row in second.rows] == [_said(row) for row in readings.rows]
        assert second.unreachable == readings.unreachable


def _said(row: lostgain.Reading) -> tuple[object, ...]:
    value = None if row.value is None else float(f"{row.value:.9g}")
    where = (row.point, row.against, row.channel, row.frequency, row.instrument)
    return (*where, row.quantity, value, row.word, row.below, row.above)


NUMBERS = ["= -1", "= 1e400", "= nan", "= inf", "= true", "= []", "= 1979-05-27", "= '1'", "= [1, 2]"]
ALLOWANCES = """[generator]
level_db = 0.5
[control]
setting_db = 1.0
[model]
level_point_db = 1
dc_share = 0.1
"""
METER = """[scope-x10]
scale_error = 0.03
[my-meter]
title = "A meter"
quantities = ["level", "dc"]
scale_error = 0.01
read_error = 0.01
floor_level = 1e-3
bandwidth = [20, 20e3]
responds = "rms"
resistance = 1e7
capacitance = 0
floor_dc = 1e-3
zero_error = 0
also = ["the meter"]
"""


@fuzzed()
@given(file_near(ALLOWANCES, NUMBERS), file_near(METER, NUMBERS))
def test_allowances_and_instruments(text: str, meter: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, content in (("allowances.toml", text), ("instruments.toml", meter)):
            (Path(folder) / name).write_bytes(content.encode("utf-8", "surrogatepass"))
        with contextlib.suppress(UserError):
            for value in vars(allowances.__wrapped__(Path(folder))).values():
                assert 0 <= value < math.inf
        with contextlib.suppress(UserError):
            lostgain.instruments(Path(folder))
