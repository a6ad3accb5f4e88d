"""Readings files as spreadsheets, phones and other programs leave them: read right, or refused with the line."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

import lostgain
from lostgain.problems import UserError
from lostgain.readings.table import MOST_LINES
from lostgain.unit.model import Unit

HEAD = "# channel: Up line\ntest point,quantity,value,frequency\n"
#: 1.2 V peak to peak is 1.2/(2·√2) V rms, and the rest of the line says so in the forms below.
GOOD = HEAD + 'U1 pin 1,level,"1,2 Vpp",500 Hz\n'
RMS = 1.2 / 8**0.5


@pytest.fixture(scope="module")
def unit() -> Unit:
    return lostgain.open_unit(Path(__file__).parents[1] / "units" / "chain")


def read(unit: Unit, folder: Path, raw: bytes | str) -> list[tuple[str, float | None]]:
    path = folder / "taken.csv"
    path.write_bytes(raw if isinstance(raw, bytes) else raw.encode())
    return [(row.point, row.value) for row in lostgain.read_readings(path, unit).rows]


def refused(unit: Unit, folder: Path, raw: bytes | str) -> str:
    with pytest.raises(UserError) as caught:
        read(unit, folder, raw)
    assert all(each.where.file == folder / "taken.csv" for each in caught.value.problems)
    return str(caught.value).replace(f"{folder / 'taken.csv'}", "FILE")


@pytest.mark.parametrize(
    "raw",
    [
        GOOD,
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\r"),
        GOOD.encode("utf-16"),
        GOOD.encode("utf-16-le"),
        GOOD.encode("utf-16-be"),
        b"\xfe\xff" + GOOD.encode("utf-16-be"),
        GOOD.replace(",", ";").replace('"1;2 Vpp"', "1,2 Vpp"),
        GOOD.replace(",", "\t").replace('"1\t2 Vpp"', "1,2 Vpp"),
        "sep=;\n" + GOOD.replace(",", ";").replace('"1;2 Vpp"', "1,2 Vpp"),
        '"# channel: Up line","","",""\n"test point","quantity","value","frequency"\n'
        '"U1 pin 1","level","1,2 Vpp","500 Hz"\n',
        HEAD + "  U1   pin 1 ,\u00a0level , 1.2\u00a0 Vpp , 500\u202fHz  ,,\n\n,,,\n",
        HEAD + "U1 pin 1,level,\u200b1.2 V\u00adpp\ufeff,500 Hz\n",
        HEAD + "U1 pin 1,level,'=1.2 Vpp,0.5 kHz\n",
        HEAD + "U1 pin 1,level,1.2 Vpp,500 Hz",
    ],
)
def test_read_right(unit: Unit, tmp_path: Path, raw: bytes | str) -> None:
    assert read(unit, tmp_path, raw) == [("U1 pin 1", pytest.approx(RMS))]


def test_windows_1252_is_said(unit: Unit, tmp_path: Path) -> None:
    path = tmp_path / "taken.csv"
    path.write_bytes((HEAD + "U1 pin 1,dc,12 µV,\n").encode("cp1252"))
    found = lostgain.read_readings(path, unit)
    assert found.rows[0].value == pytest.approx(12e-6)
    assert "line 3: not UTF-8; read as Windows-1252" in found.warnings[0]


@pytest.mark.parametrize("value", ["nan", "NaN V", "inf", "-inf V rms", "1e999 V", "1e400 Vpp", "∞ V", "0x1p3 V",
                                   "1_0 mV", "٣ V rms", "²V", "--1 V", "1..2 V", "=1+1", "1.2Vpp;"])  # fmt: skip
def test_no_value(unit: Unit, tmp_path: Path, value: str) -> None:
    said = refused(unit, tmp_path, f'{HEAD}U1 pin 1,level,"{value}",500 Hz\n')
    assert said.startswith("FILE, line 3: '")


@pytest.mark.parametrize(
    ("value", "meant"),
    [
        ("1 200 mV", "Write 1200 mV,"),
        ("1\u00a0200,5 mV rms", "Write 1200.5 mV rms,"),
        ("1'200 mV", "Write 1200 mV,"),
        ("1.200,5 mV", "Write 1200.5 mV,"),
        ("1,200.5 mV", "Write 1200.5 mV,"),
        ("1.234.567 mV", "Write 1234567 mV,"),
        ("1,234,567 mV", "Write 1234567 mV,"),
        ("1,200 mV", "write 1200 or 1.200"),
    ],
)
def test_thousands_set_apart(unit: Unit, tmp_path: Path, value: str, meant: str) -> None:
    assert meant in refused(unit, tmp_path, f'{HEAD}U1 pin 1,level,"{value}",500 Hz\n')


@pytest.mark.parametrize("value", ["nan Hz", "inf", "1e999 Hz", "0 Hz", "-500 Hz", "1e-400 Hz"])
def test_no_frequency(unit: Unit, tmp_path: Path, value: str) -> None:
    assert "FILE, line 3:" in refused(unit, tmp_path, f"{HEAD}U1 pin 1,level,1 Vpp,{value}\n")


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "FILE: the file is empty"),
        (b"\xef\xbb\xbf \r\n\r\n", "FILE: the file is empty"),
        (HEAD.encode(), "FILE: there is no reading"),
        (bytes(range(256)) * 4, "FILE, line 2: this line is not text"),
        (GOOD.encode("utf-32"), "FILE, line 1: this line has the control character"),
        (GOOD.encode("utf-16") + b"x", "FILE, line 1: this line has the control character"),
        (HEAD + "U1 pin 1,level,1\0 Vpp,\n", "FILE, line 3: this line has the control character 0x00"),
        (HEAD + "U1 pin 1,level,1\x9b Vpp,\n", "FILE, line 3: this line has the control character 0x9b"),
        (HEAD + "U1 pin 1,level,1\x1b[2J Vpp,\n", "FILE, line 3: this line has the control character 0x1b"),
        ("test point,value,value\nU1 pin 1,1 Vpp,2 Vpp\n", "FILE, line 1: the column 'value' is there twice"),
        (HEAD + 'U1 pin 1,level,"1 Vpp,500 Hz\n', "FILE, line 3: this is not CSV: a quote is opened"),
        (HEAD + "U1 pin 1,level,1 Vpp,500 Hz,a,b\n", "FILE, line 3: this line has 6 cells"),
        (HEAD + "U1 pin 1,level,1,2 Vpp,500 Hz\n", "FILE, line 3: this line has 5 cells"),
        (HEAD + "x" * 30_000, "FILE, line 3: this line has more than 20000 characters"),
        (HEAD + "," * 30_000, "FILE, line 3: this line has more than 20000 characters"),
        (",".join(["value"] * 30_000), "FILE, line 1: this line has more than 20000 characters"),
        (HEAD + "U1 pin 99,level,1 Vpp,500 Hz\n" * 4000, "FILE, line 102"),
        ("# chanel: y\n" * 4000 + GOOD, "and 3900 more mistakes"),
    ],
)
def test_refused_with_the_line(unit: Unit, tmp_path: Path, raw: bytes | str, says: str) -> None:
    said = refused(unit, tmp_path, raw)
    assert says in said
    assert len(said.splitlines()) <= 101


@pytest.mark.parametrize(
    ("rows", "says"),
    [(MOST_LINES, f"line {MOST_LINES + 1}: the file goes on here"), (1_000_000, "has more than 2 MB")],
)
def test_a_file_of_a_logger_is_refused_at_once(unit: Unit, tmp_path: Path, rows: int, says: str) -> None:
    raw = (HEAD + "U1 pin 1,level,1.2 Vpp,500 Hz\n" * rows).encode()
    begun = time.monotonic()
    assert says in refused(unit, tmp_path, raw)
    assert time.monotonic() - begun < 2


def test_what_is_no_plain_file(unit: Unit, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    (tmp_path / "folder.csv").mkdir()
    for name, says in (("pipe", "no plain file"), ("circle", "can't be read"), ("folder.csv", "this is a folder"),
                       ("nowhere.csv", "No such file"), ("a\0b", "can't be read"),
                       ("x" * 300, "can't be read")):  # fmt: skip
        with pytest.raises(UserError, match=says):
            lostgain.read_readings(tmp_path / name, unit)
    for device in filter(os.path.exists, ("/dev/zero", "/dev/null")):
        with pytest.raises(UserError, match="no plain file"):
            lostgain.read_readings(device, unit)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read anything")
def test_a_file_that_may_not_be_read(unit: Unit, tmp_path: Path) -> None:
    (tmp_path / "taken.csv").write_text(GOOD)
    (tmp_path / "taken.csv").chmod(0)
    with pytest.raises(UserError, match="Permission denied"):
        lostgain.read_readings(tmp_path / "taken.csv", unit)
