"""Every shipped unit opens, builds, runs, and is what its file prints of it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

import numpy as np
import pytest

from lostgain import circuit, faults, readings, shipped
from lostgain.engine import Pool
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from lostgain.unit import open_unit

UNITS = sorted(path.parent.name for path in (shipped.folder() / "units").glob("*/unit.toml"))
DEMO = "ferry-terminal"
#: Units with readings of which it is told which fault was in.
TOLD = [name for name in UNITS if (shipped.folder() / "units" / name / "readings" / "truth.toml").exists()]


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    with Pool(workers=1, time_limit=120) as started:
        yield started


@pytest.mark.parametrize("name", UNITS)
def test_unit_runs_and_agrees_with_what_is_printed(name: str, pool: Pool) -> None:
    """Printed levels within 5 %, printed DC within 50 mV or 3 %: rounding of our own files, no source."""
    unit = open_unit(name)
    built = circuit.build(unit, pool)
    circuit.prove_running(built, pool)
    assert faults.listing(built)
    outcome = pool.map(run_row, [RowTask(built, (), [], np.zeros((0, 0)), 0)])[0]
    assert outcome.error is None
    healthy = outcome.value
    assert healthy.status == "ok"
    assert healthy.settled.all()
    # small-signal analysis has to serve for the healthy unit, or every draw of its table is followed in time
    assert healthy.small_signal.all()
    compared = 0
    for number, point in enumerate(unit.points):
        for printed in point.printed:
            found = healthy.dc[0, number] if printed.quantity == "dc" else healthy.level[0, number, 0]
            allowed = {"abs": 0.05, "rel": 0.03} if printed.quantity == "dc" else {"rel": 0.05}
            assert found == pytest.approx(printed.value, **allowed), f"{point.name}: {printed.text}"
            compared += 1
    assert compared >= 3


@pytest.mark.parametrize("name", UNITS)
def test_output_stage_is_steady_and_near_zero(name: str, pool: Pool) -> None:
    """DC at an output that may have a loudspeaker on it stays below 50 mV (common practice, no source)."""
    unit = open_unit(name)
    if not unit.output_stage:
        pytest.skip("has no output stage")
    built = circuit.build(unit, pool)
    healthy = pool.map(run_row, [RowTask(built, (), [], np.zeros((0, 0)), 0)])[0].value
    last = unit.points[-1]
    number = list(built.points).index(last.name)
    assert abs(healthy.dc[0, number]) < 0.05
    wave = healthy.wave[number]
    lines = np.abs(np.fft.rfft(wave, axis=1))[:, 1:]
    # one valve alone makes some second harmonic at any level (common practice, no source)
    share = 0.03 if any(part.kind == "pentode" for part in unit.parts.values()) else 0.01
    assert (np.linalg.norm(lines[:, 1:], axis=1) < share * lines[:, 0]).all()
    assert healthy.level[0, number, 0] ** 2 / (unit.setup.load.ohms or 1e9) < (unit.setup.load_rating or 0)


def test_the_demo_unit_has_what_a_demo_has_to_show() -> None:
    """Two channels, mains, some place out of reach, and invented throughout."""
    unit = open_unit(DEMO)
    assert unit.invented
    assert unit.mains
    assert [channel.name for channel in unit.channels] == ["Zone A", "Zone B"]
    assert unit.channels[1].called("U2A") == "U102A"
    assert any(not point.reach for point in unit.points)
    assert all(reservoir.bleeder for reservoir in unit.reservoirs)


@pytest.mark.parametrize("name", TOLD)
def test_every_readings_file_can_be_read_and_has_its_truth(name: str, pool: Pool) -> None:
    unit = open_unit(name)
    folder = unit.folder / "readings"
    truth = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))
    files = {path.stem: readings.read(path, unit) for path in folder.glob("*.csv")}
    assert set(files) == set(truth)
    assert len(files) >= 3
    built = circuit.build(unit, pool)
    put_in = [faults.parse(entry["fault"], built) for entry in truth.values()]
    assert len({(fault.part, fault.mode) for fault in put_in}) == len(put_in)
    assert {fault.mode for fault in put_in} - {"open", "lost", "esr"}
    for file, entry in truth.items():
        channel = next(each for each in unit.channels if each.name == entry["channel"])
        assert channel.called(faults.parse(entry["fault"], built).part) == entry["part"]
        assert files[file].warnings == ()
        assert entry["channel"] in {row.channel for row in files[file].rows}
    assert len({row.channel for row in files["no-good-channel"].rows}) == 1
    assert files["part-way"].unreachable
    words = {"nothing", "same as good"} if len(unit.channels) > 1 else {"nothing"}
    assert words <= {row.word for row in files["part-way"].rows}


@pytest.mark.parametrize("name", TOLD)
def test_readings_are_those_of_the_fault_that_is_told(name: str, pool: Pool) -> None:
    """Where nothing clips, a reading is within 3 dB of what the nominal circuit shows with the fault in it: tolerances,
    another maker's op-amps and the instruments are all there is between (no source)."""
    unit = open_unit(name)
    folder = unit.folder / "readings"
    built = circuit.build(unit, pool)
    compared = 0
    for file, entry in tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8")).items():
        fault = faults.parse(entry["fault"], built)
        shown = pool.map(run_row, [RowTask(built, (fault,), [], np.zeros((0, 0)), 0)])[0].value
        points = list(built.points)
        for row in readings.read(folder / f"{file}.csv", unit).rows:
            if row.quantity != "level" or row.value is None or row.against or row.channel != entry["channel"]:
                continue
            column = unit.setup.frequencies.index(row.frequency)
            found = shown.level[0, points.index(row.point), column]
            if found > 5e-3 and shown.small_signal[column]:
                assert abs(20 * np.log10(row.value / found)) < 3, f"{file}: {row.text}"
                compared += 1
        assert compared or not shown.small_signal.all()
