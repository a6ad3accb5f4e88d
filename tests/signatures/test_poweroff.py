"""The power-off part of a table: what is in it, and that it leaves the powered part alone."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lostgain import build_circuit, open_unit, power_off, predict_off
from lostgain.circuit import Circuit
from lostgain.engine import Pool
from lostgain.faults import listing, put_in
from lostgain.problems import UserError
from lostgain.readings import Reading
from lostgain.signatures import Table
from lostgain.signatures.poweroff_circuit import at_rest, unpowered
from lostgain.signatures.poweroff_facts import facts
from lostgain.signatures.poweroff_places import usual
from lostgain.signatures.poweroff_table import OffTable, PowerOff, Spot
from tests.diagnosis.megaphone import UNITS, megaphone


@cache
def table() -> Table:
    return power_off(megaphone(), quantities=("resistance", "esr"))


def part(name: str = "ohmmeter") -> OffTable:
    return next(each for each in table().off.parts if each.instrument == name)


def spot(point: str, against: str = "", lifted: bool = False, name: str = "ohmmeter") -> Spot:
    found = part(name).spot(point, against, lifted)
    assert found is not None
    return found


def nominal(label: str, point: str, name: str = "ohmmeter", lifted: bool = False) -> float:
    row = [None, *(fault.label for fault in table().faults)].index(label or None)
    return float(part(name).value[row, 0, spot(point, "", lifted, name).place, 0])


def test_the_powered_part_stays_as_it_is() -> None:
    assert table().key == megaphone().key
    assert table().data.identical(megaphone().data)
    assert not megaphone().off.parts


def test_a_table_without_meters_is_the_same_table() -> None:
    assert power_off(megaphone()) is megaphone()


def test_what_was_built_is_opened_and_what_was_not_is_not_built() -> None:
    before = table()
    again = power_off(megaphone(), quantities=("resistance", "esr"), build=False)
    assert [each.key for each in again.off.parts] == [each.key for each in before.off.parts]
    assert again.off.parts[0].value == pytest.approx(before.off.parts[0].value, nan_ok=True)
    odd = Reading("U1 pin 1", "resistance", "Port", instrument="ohmmeter-low")
    assert not power_off(megaphone(), [odd], build=False).off.parts


def test_a_damaged_file_is_built_anew(table_cache: Path) -> None:
    key = part("esr-meter").key
    path = next(table_cache.glob(f"*-off-{key}.h5"))
    kept = path.read_bytes()
    path.write_bytes(kept[: len(kept) // 2] + os.urandom(50) + kept[len(kept) // 2 + 50 :])
    assert power_off(megaphone(), quantities=("esr",)).off.parts[0].value == pytest.approx(
        part("esr-meter").value, nan_ok=True
    )


def test_healthy_parts() -> None:
    assert nominal("", "R6") == pytest.approx(33e3, rel=1e-3)
    assert nominal("", "R6", lifted=True) == pytest.approx(33e3, rel=1e-3)
    assert nominal("", "C3", "esr-meter") == pytest.approx(1.25, rel=0.02)
    # From U1 pin 6 to the output: R6 alone, since nothing else leads there with the power off.
    assert nominal("", "R5") == pytest.approx(10e3, rel=1e-3)
    draws = part().value[0, 1:, spot("R6").place, 0]
    assert 0.01 < draws.std() / draws.mean() < 0.05  # 5 % at two standard deviations


@pytest.mark.parametrize(
    ("label", "point", "name", "ohms"),
    [
        ("R6 drift 2.5", "R6", "ohmmeter", 82.5e3),
        ("R6 drift 2.5", "R5", "ohmmeter", 10e3),
        ("C3 esr 47", "C3", "esr-meter", 48.25),
        ("C3 joint 1e+03", "C3", "esr-meter", 1001.25),
        ("C1 leaky 4.7e+03", "C1", "ohmmeter", 4.7e3),
        ("C1 short", "C1", "ohmmeter", 0.05),
        ("R4 short", "R4", "ohmmeter", 0.05),
    ],
)
def test_faulty_parts_in_circuit(label: str, point: str, name: str, ohms: float) -> None:
    assert nominal(label, point, name) == pytest.approx(ohms, rel=5e-3)


def test_out_of_circuit_a_joint_is_left_on_the_board() -> None:
    assert nominal("R6 joint 4.7e+04", "R6") == pytest.approx(80e3, rel=1e-2)
    assert nominal("R6 joint 4.7e+04", "R6", lifted=True) == pytest.approx(33e3, rel=1e-3)
    assert nominal("R6 drift 2.5", "R6", lifted=True) == pytest.approx(82.5e3, rel=1e-3)


def test_a_dry_electrolytic_shows_on_the_esr_meter_and_an_open_one_does_not_register() -> None:
    good, half, dry, gone = (nominal(label, "C3", "esr-meter")
                             for label in ("", "C3 lost 0.5", "C3 lost 0.05", "C3 open"))  # fmt: skip
    assert half == pytest.approx(2 * good, rel=0.1)
    assert dry == pytest.approx(20 * good, rel=0.1)
    assert gone > 100


def test_a_charging_electrolytic_reads_lower_than_it_will() -> None:
    place = spot("C3").place
    assert part().value[0, 0, place, 0] < 0.1 * part().settled[0, place, 0]
    lost = 1 + [fault.label for fault in table().faults].index("C3 lost 0.01")
    assert part().value[lost, 0, place, 0] > 3 * part().value[0, 0, place, 0]


def test_what_a_fault_leaves_alone_is_the_healthy_units_draw_by_draw() -> None:
    row = 1 + [fault.label for fault in table().faults].index("R6 drift 2.5")
    place = spot("R4").place
    assert np.array_equal(part().value[row, :, place], part().value[0, :, place])


def test_a_rails_faults_are_none_with_the_power_off() -> None:
    row = 1 + [fault.label for fault in table().faults].index("VP missing 4.7e+03")
    assert np.array_equal(part().value[row], part().value[0], equal_nan=True)


def test_a_pair_of_points_gets_a_part_of_its_own() -> None:
    pair = Reading("U1 pin 1", "resistance", "Port", against="U1 pin 7", instrument="ohmmeter")
    found = power_off(table(), [pair])
    assert len(found.off.parts) == len(table().off.parts) + 1
    spot = found.off.spot("ohmmeter", "U1 pin 1", "U1 pin 7")
    back = found.off.spot("ohmmeter", "U1 pin 7", "U1 pin 1")
    assert spot is not None
    assert back is not None
    assert (spot.polarity, back.polarity) == (0, 1)
    assert spot.part.value[0, 0, 0, 0] == pytest.approx(43e3, rel=1e-2)  # R5 and R6 in series


def test_stray_paths_are_read_too() -> None:
    assert len(part().value) == 1 + len(table().faults) + len(table().strays)
    first = part().value[1 + len(table().faults) :, 0, :, 0]
    assert np.isfinite(first).all()
    assert (first.min(axis=0) < 0.5 * part().value[0, 0, :, 0]).any()


def off_circuit(circuit: Circuit) -> str:
    return "\n".join(
        unpowered(circuit, at_rest(circuit, circuit.flat, facts(circuit.unit)), facts(circuit.unit)).lines()
    )


def test_without_power_there_is_no_source_left() -> None:
    circuit = table().circuit
    lines = off_circuit(circuit).splitlines()
    assert not [line for line in lines if line[0] in "vieghfb"]
    assert "bench" not in off_circuit(circuit)
    # The powered circuit has no ESR in it.
    assert not [name for name in circuit.flat.elements if "off" in name]


def test_a_short_lies_outside_the_esr_of_the_part_it_is_in() -> None:
    circuit = table().circuit
    fault = next(each for each in listing(circuit) if each.label == "C3 short")
    flat = unpowered(circuit, put_in(circuit.flat, fault, circuit), facts(circuit.unit))
    short = next(each for name, each in flat.elements.items() if name.startswith("rfault_c3"))
    assert set(short.nodes) == {circuit.node_of("C3", "1"), circuit.node_of("C3", "2")}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the small unit, to change."""
    return Path(shutil.copytree(UNITS / "megaphone", tmp_path / "megaphone"))


def test_a_unit_may_say_what_is_known_of_it(own: Path) -> None:
    (own / "poweroff.toml").write_text(
        '[load]\nconnected = true\n[rails]\nVP = "1k"\n[esr]\nC3 = "0R5"\n[series]\nC1 = "low-impedance"\n',
        encoding="utf-8",
    )
    circuit = build_circuit(open_unit(own))
    stated = facts(circuit.unit)
    assert (stated.load, stated.rails, stated.esr) == (True, {"VP": 1e3}, {"C3": 0.5})
    lines = off_circuit(circuit)
    assert "rbench_load" in lines
    assert "roff_vp vp_emf 0 1000" in lines


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[rails]\nVX = "1k"', "no rail of this unit"),
        ('[esr]\nR3 = "1"', "no electrolytic or tantalum"),
        ('[esr]\nC3 = "lots"', "C3"),
        ('[series]\nC3 = "cheap"', "no series"),
        ("[lod]\nconnected = true", "lod"),
        ('[load]\nconnected = "yes"', "true or false"),
    ],
)
def test_mistakes_in_it_are_told(own: Path, text: str, says: str) -> None:
    (own / "poweroff.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=says):
        facts(open_unit(own))


def test_what_one_failure_changes() -> None:
    circuit = table().circuit
    fault = next(each for each in listing(circuit) if each.label == "C3 esr 47")
    with Pool(1) as pool:
        found = predict_off(circuit, [fault], pool)
    assert (found[0].point, found[0].quantity, found[0].lifted) == ("C3", "esr", False)
    assert found[0].faulty == pytest.approx(48.25, rel=0.01)
    assert found[0].healthy == pytest.approx(1.25, rel=0.02)


def test_the_usual_places_of_transistors_and_diodes() -> None:
    circuit = build_circuit(open_unit("ferry-terminal"))
    names = [(each.point, each.against) for each in usual(circuit, "diode test") if not each.lifted]
    assert ("Q3 b", "Q3 e") in names
    assert ("Q3 b", "Q3 c") in names
    assert not any(name.startswith("R") for name, _ in names)
    guitar = usual(build_circuit(open_unit("clubhouse-guitar-amplifier")), "resistance")
    assert ("T2 p1", "T2 p2") in [(each.point, each.against) for each in guitar]
    held = {(each.point, each.against) for each in usual(circuit, "resistance")}
    assert {("R14", ""), ("RV1 top", "RV1 bottom"), ("TP1", "")} <= held


def test_what_was_built_serves_the_same_unit_in_another_folder(tmp_path: Path) -> None:
    shutil.copytree(UNITS / "megaphone", tmp_path / "megaphone")
    moved = replace(table(), circuit=build_circuit(open_unit(tmp_path / "megaphone")))
    found = power_off(replace(moved, off=PowerOff()), quantities=("resistance", "esr"), build=False)
    assert {each.key for each in found.off.parts} == {part("ohmmeter").key, part("esr-meter").key}
