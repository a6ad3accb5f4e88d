"""Readings with the power off, from the technician's hand to suspects and the next reading."""

from __future__ import annotations

import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lostgain import match, next_reading, open_unit, part_checks, power_off, read_readings
from lostgain.bench.off_steps import across_parts
from lostgain.diagnosis import Verdict, two_at_once
from lostgain.diagnosis.features import feature_of
from lostgain.diagnosis.information import told
from lostgain.diagnosis.next_model import Move, NextReading
from lostgain.diagnosis.off_paths import bridges, lowering
from lostgain.engine import Pool
from lostgain.readings import Reading, instruments
from lostgain.readings.model import OFF
from lostgain.report.record_next import next_record
from lostgain.report.records import verdict_record
from lostgain.report.text_bench import asked_text
from lostgain.report.text_match import verdict_text
from lostgain.report.text_next import next_text
from lostgain.signatures import Table
from lostgain.signatures.poweroff_table import OffTable
from tests.diagnosis.megaphone import UNITS, dc, level, megaphone, probability, readings, taken

UNIT = open_unit(UNITS / "megaphone")


@cache
def table() -> Table:
    return power_off(megaphone(), quantities=("resistance", "esr"))


def ohms(part: str, value: float, channel: str = "Port", **more: object) -> Reading:
    return Reading(part, "resistance", channel, value, instrument="ohmmeter", text=f"{value:g} ohm", **more)  # type: ignore[arg-type]


def esr(part: str, value: float, channel: str = "Port", **more: object) -> Reading:
    return Reading(part, "esr", channel, value, instrument="esr-meter", text=f"{value:g} ohm", **more)  # type: ignore[arg-type]


def ask(*rows: Reading, good: str = "") -> Verdict:
    return match(table(), readings(*rows, good=good))


#: The first stage has lost its gain below what it should have, at every frequency alike: five faults look the same.
ALIKE = [level("U1 pin 1", 0.28), level("U1 pin 1", 0.28, frequency=40.0), level("U1 pin 1", 0.28, frequency=10e3),
         dc("U1 pin 1", 0.002), level("U1 pin 2", 0.1), level("U1 pin 6", 0.28)]  # fmt: skip


def test_only_readings_with_the_power_off_separate_them() -> None:
    before = ask(*ALIKE)
    assert max(each.probability for each in before.suspects) < 0.7
    assert {each.part for each in before.suspects if each.probability > 0.05} >= {"C3", "R3", "R4"}
    after = ask(*ALIKE, ohms("R3", 5.6e3), ohms("R4", 10e3), esr("C3", 1.3), ohms("R3", 5.6e3, lifted=True))
    assert after.suspects[0].part == "R3"
    assert after.suspects[0].mode == "drift"
    assert after.suspects[0].probability > 0.95
    assert after.suspects[0].severity == pytest.approx(5.6e3 / 2.2e3, rel=0.1)


def test_a_cold_joint_reads_higher_in_circuit_and_right_out_of_it() -> None:
    verdict = ask(*ALIKE, ohms("R3", 5.6e3), ohms("R3", 2.2e3, lifted=True))
    assert (verdict.suspects[0].part, verdict.suspects[0].mode) == ("R3", "joint")
    assert verdict.suspects[0].probability > 0.9


def test_a_high_esr_is_found_and_measured() -> None:
    verdict = ask(*ALIKE, esr("C3", 100.0, above=True), ohms("R3", 2.2e3))
    assert probability(verdict, "C3", "esr", "joint") > 0.95
    assert any("does not register" in text for text in verdict.checks)


def test_an_open_electrolytic_looks_perfect_and_does_not_register() -> None:
    """Common practice, no source: a dead electrolytic has no bulge and no leak; an ESR meter does not see it at all."""
    verdict = ask(level("U1 pin 1", 0.1), esr("C3", 100.0, above=True))
    assert probability(verdict, "C3") > 0.9


def test_double_the_twin_is_suspect_and_outranks_the_table() -> None:
    """Common practice, no source. A make of twice the ESR that the table has is no fault where its twin has it too."""
    table_only = ask(level("U1 pin 1", 0.553), esr("C3", 2.6))
    with_twin = ask(level("U1 pin 1", 0.553), esr("C3", 2.6), esr("C3", 1.2, "Starboard"), good="Starboard")
    alike = ask(level("U1 pin 1", 0.553), esr("C3", 2.6), esr("C3", 2.5, "Starboard"), good="Starboard")
    assert probability(with_twin, "C3") > probability(table_only, "C3") > probability(alike, "C3")
    assert any("times its twin in Starboard: suspect" in text for text in with_twin.checks)
    assert any("about what its twin" in text for text in alike.checks)


def test_more_than_its_value_is_bad_and_less_may_be_bridged() -> None:
    verdict = ask(*ALIKE, ohms("R4", 31e3))
    assert any("R4 (Port) reads 31000 ohm, more than its 10 kΩ allows" in text for text in verdict.checks)
    assert any("if it reads the same with the leads exchanged" in text for text in verdict.checks)
    both = ask(*ALIKE, ohms("R4", 31e3), ohms("R4 2", 31e3, against="R4 1"))
    assert not any("if it reads the same" in text for text in both.checks)
    low = ask(level("U1 pin 1", 0.553), ohms("R4", 4e3))
    assert any("a fault of R4 does that. Lift a leg" in text for text in low.checks)
    none = ask(level("U1 pin 1", 0.553), ohms("R4", 1.0))  # a resistor does not read so little by itself
    assert any("it, or something in parallel with it" in text for text in none.checks)


def test_what_lies_in_parallel_is_named() -> None:
    """C2 has the input network, 1 kΩ and 100 kΩ in series, across it: Ohm's law says 101 kΩ and which parts."""
    part = next(each for each in table().off.parts if each.instrument == "ohmmeter")
    places = {each.part: number for number, each in enumerate(part.places) if each.part and not each.lifted}
    assert part.value[0, 0, places["C2"], 0] == pytest.approx(101e3, rel=1e-3)
    assert set(bridges(table(), part, places["C2"])) == {"R1", "R2"}
    assert bridges(table(), part, places["R2"]) == ()  # its far end ends in capacitors
    spot = table().off.spot("ohmmeter", "R1", "")
    assert spot is not None
    assert "C2" in lowering(table(), spot, 48e3)  # 47 kΩ of leakage and 1 kΩ, across 100 kΩ: 32 kΩ; less leaks less
    assert lowering(table(), spot, 99e3) != ()


def test_polarities_that_disagree_are_doubted() -> None:
    charged = [ohms("R6", 20e3), ohms("R6 2", 47e3, against="R6 1")]
    verdict = ask(level("U1 pin 7", 1.8), *charged)
    assert verdict.doubted == tuple(charged)
    assert verdict.used == 1
    assert any("discharge it, verify with a meter" in text for text in verdict.warnings)
    step = next_reading(table(), readings(level("U1 pin 7", 1.8), *charged), verdict)
    assert step.ranked
    agree = ask(level("U1 pin 7", 1.8), ohms("R6", 33e3), ohms("R6 2", 33.1e3, against="R6 1"))
    assert not agree.doubted


def test_a_reading_that_no_part_of_the_table_holds_is_left_out() -> None:
    verdict = match(megaphone(), readings(level("U1 pin 1", 0.28), ohms("R3", 5.6e3)))
    assert any("no power-off part of the table" in text for text in verdict.warnings)


def test_same_as_the_good_channel() -> None:
    same = Reading("R3", "resistance", "Port", None, "same as good", instrument="ohmmeter", text="ok")
    verdict = ask(*ALIKE, same, ohms("R3", 2.2e3, "Starboard"), good="Starboard")
    without = ask(*ALIKE)
    assert probability(verdict, "R3", "drift") < 0.1 * probability(without, "R3", "drift")


def test_what_a_row_reads_is_found_again() -> None:
    part = table().off.parts[0]
    for label in ("R6 drift 2.5", "R1 drift 0.25", "C1 leaky 4.7e+03"):
        row = 1 + [fault.label for fault in table().faults].index(label)
        rows = [each for each in taken(label) if each.point in ("U1 pin 1", "U1 pin 7") and not each.word]
        rows += [ohms(place.point, float(part.value[row, 1, number, 0])) for number, place in enumerate(part.places)
                 if place.part and not place.lifted and part.value[row, 1, number, 0] < 1e6]  # fmt: skip
        verdict = ask(*rows)
        assert verdict.suspects[0].part == label.split()[0]
        assert probability(verdict, label.split()[0]) > 0.95


def test_a_healthy_unit_stays_healthy() -> None:
    part = table().off.parts[0]
    powered = [each for each in taken("") if not each.word]
    rows = [*powered]
    rows += [ohms(place.point, float(part.value[0, 2, number, 0])) for number, place in enumerate(part.places)
             if place.part and not place.lifted and part.value[0, 2, number, 0] < 1e6]  # fmt: skip
    # What is left is faults that leave no mark; those that an ohmmeter would show are out.
    assert ask(*rows).healthy > ask(*powered).healthy
    assert probability(ask(*rows), "R1") < probability(ask(*powered), "R1")


def test_a_meter_with_more_error_is_expected_to_tell_less() -> None:
    from lostgain.diagnosis.belief import belief
    from lostgain.diagnosis.candidates import Candidate
    from lostgain.diagnosis.expected import expected
    from lostgain.faults import rates

    known = instruments(UNIT.folder)
    believed = belief(table(), ALIKE, "", rates("bench"))
    one = Reading("R3", "resistance", "Port", instrument="ohmmeter")
    bits = []
    for error in (0.004, 0.05, 0.3):
        meter = replace(known["ohmmeter"], read_error=error)
        feature = feature_of(one, table(), meter)
        assert feature is not None
        wanted = [Candidate(one, feature, 1.0, 1.0)]
        mean, sigma = expected(table(), believed, wanted, {**known, "ohmmeter": meter})
        bits.append(float(told(believed.decision, believed.weight, mean, sigma).bits[0]))
    assert bits[0] > bits[1] > bits[2] > 0


def test_what_to_read_next_with_the_power_off() -> None:
    verdict = ask(*ALIKE)
    step = next_reading(table(), readings(*ALIKE), verdict)
    off = [each for each in step.ranked if isinstance(each, NextReading) and each.power == "off"]
    assert {each.point for each in off} & {"C3", "R3", "R4"}
    first = off[0]
    assert first.minutes == pytest.approx(3.5)  # switching off, discharging and verifying come before the first
    assert "verified with a meter" in first.risk
    assert not any(each.power == "off" for each in next_reading(megaphone(), readings(*ALIKE)).ranked
                   if isinstance(each, NextReading))  # fmt: skip
    text = next_text(step, UNIT)
    assert "power off" in text
    assert "Ω" in text
    record = next_record(step, UNIT)
    assert any(each.get("power") == "off" and each["expected"] for each in record["next"] if each["kind"] == "reading")
    # Once there, the next one of them is half a minute; a reading with the power on waits until it is on again.
    rows = readings(*ALIKE, ohms("R4", 10e3))
    again = next_reading(table(), rows, match(table(), rows))
    times = {each.power: each.minutes for each in again.ranked if isinstance(each, NextReading)}
    assert times["off"] == pytest.approx(0.5)
    assert times.get("on", 2.5) >= 1.5


def test_following_it_finds_the_part() -> None:
    rows = list(ALIKE)
    for _ in range(8):
        given = readings(*rows)
        verdict = match(table(), given)
        step = next_reading(table(), given, verdict)
        reading = step.reading
        if step.stop or reading is None:
            break
        if reading.power == "off":
            rows.append(_read("R3 drift 2.5", reading))
        else:
            rows += [each for each in taken("R3 drift 2.5", points=(reading.point,))
                     if (each.quantity, each.frequency) == (reading.quantity, reading.frequency)]  # fmt: skip
    assert step.stop in ("sure", "alike")
    assert step.parts[0][0] == "R3"


def _read(label: str, reading: NextReading) -> Reading:
    row = 1 + [fault.label for fault in table().faults].index(label)
    spot = table().off.spot(reading.instrument, reading.point, reading.against)
    assert spot is not None
    value = float(spot.part.value[row, 0, spot.place, max(spot.polarity, 0)])
    over = value > reading.largest
    return Reading(reading.point, reading.quantity, reading.channel, min(value, reading.largest), above=over,
                   against=reading.against, instrument=reading.instrument, text=f"{value:g}")  # fmt: skip


def test_it_is_not_slow() -> None:
    """The goals are 50 ms for a match and 300 ms for a next reading, on a quiet computer; see the benchmark."""
    rows = readings(*ALIKE, ohms("R4", 10e3), ohms("R6", 33e3))
    verdict = match(table(), rows)
    next_reading(table(), rows, verdict)
    times = []
    for _ in range(5):
        start = time.process_time()
        next_reading(table(), rows, verdict)
        times.append(time.process_time() - start)
    assert min(times) < 1.0


def test_what_healthy_parts_show() -> None:
    checks = {(each.part, each.quantity): each for each in part_checks(table())}
    one = checks["R6", "resistance"]
    assert one.value == pytest.approx(33e3, rel=1e-2)
    assert one.low < 33e3 < one.high < one.above
    assert one.agrees
    assert "Above" in one.text
    waiting = checks["C3", "resistance"]
    assert waiting.settled > 3 * waiting.value
    assert "charges on to" in waiting.text
    assert "twin" in checks["C3", "esr"].text


def test_a_file_from_the_bench(tmp_path: Path) -> None:
    path = tmp_path / "bench.csv"
    path.write_text(
        "test point,quantity,value,frequency,channel\nU1 pin 1,level,280 mV rms,500 Hz,Port\n"
        "R3,resistance,5k6,,Port\nR3,resistance,5k6,,Port\nC3,esr,1.3,,Port\nR4,ohms,10k1,,Port\n",
        encoding="utf-8",
    )
    given = read_readings(path, UNIT)
    verdict = match(table(), given)
    text = verdict_text(verdict, UNIT, given)
    assert "With the power off" in text
    assert "5.6 kΩ" in text
    assert verdict_record(verdict)["checks"]
    assert verdict.suspects[0].part == "R3"


def test_the_order_of_readings_does_not_matter() -> None:
    rows = [*ALIKE, ohms("R3", 5.6e3), esr("C3", 1.3)]
    one, other = ask(*rows), ask(*reversed(rows))
    mine = {(each.part, each.mode): each.probability for each in one.suspects}
    assert all(each.probability == pytest.approx(mine[each.part, each.mode], abs=1e-6) for each in other.suspects)
    total = sum(each.probability for each in one.suspects) + one.healthy + one.unexplained
    assert total == pytest.approx(1.0)


def test_two_failures_at_once() -> None:
    given = readings(*ALIKE[:1], ohms("R6", 80e3), ohms("R4", 4e3), ohms("R3", 2.2e3), ohms("R5", 10e3), esr("C3", 1.3))
    with Pool(2) as pool:
        tried = two_at_once(table(), given, pool, seconds=300)  # as long as it takes, on a busy computer
    assert set(tried.pairs[0].parts) == {"R4", "R6"}


def test_numbers_are_finite() -> None:
    for part in table().off.parts:
        assert np.isfinite(part.value[: 1 + len(table().faults), 0]).all()
        assert (part.value[np.isfinite(part.value)] >= 0).all()


def test_a_unit_that_stays_off_is_read_and_worked_on_with_the_power_off_only() -> None:
    rows = readings(*ALIKE)
    step = next_reading(table(), rows, match(table(), rows), live=False, most=200)
    assert {each.power for each in step.ranked} == {"off"}
    assert {type(each) for each in step.ranked} == {Move, NextReading}
    assert step.action is None or step.action.power == "off"
    before = next_reading(table(), readings(), live=False)  # nothing was read yet, and nothing may be with the power on
    assert before.reading is not None
    assert before.reading.quantity in OFF


def test_a_part_that_serves_all_channels_is_listed_once() -> None:
    circuit = table().circuit
    fed = replace(circuit.unit, supplies=circuit.unit.stages[:1])  # the input coupling stands in for a supply
    rows = {each.names for each in across_parts(replace(table(), circuit=replace(circuit, unit=fed)))}
    assert ("R1",) in rows
    assert ("R4", "R104") in rows
    assert ("R1", "R101") in {each.names for each in across_parts(table())}
    noted = {each.names: each.note for each in across_parts(table())}
    assert not any("Named as in" in note for note in noted.values())  # nothing is bridged in this unit
    crossed = replace(table(), off=replace(table().off, parts=tuple(_bridged(part) for part in table().off.parts)))
    noted = {each.names: each.note for each in across_parts(crossed)}
    assert "bridged by R6" in noted["R4", "R104"]
    assert noted["R4", "R104"].endswith("Named as in Port.")
    shared = Reading("R1", "resistance", "Starboard", instrument="ohmmeter")
    assert asked_text(shared, fed) == "R1, resistance"
    assert asked_text(shared, circuit.unit) == "R101 (Starboard), resistance"


def _bridged(part: OffTable) -> OffTable:
    """The same readings, but as if R6 lay across R4: less in circuit, and its value alone if R6 is open."""
    if part.instrument != "ohmmeter":
        return part
    place = next(number for number, each in enumerate(part.places) if each.part == "R4" and not each.lifted)
    value = part.value.copy()
    value[:, :, place] = 7.6e3
    value[1 + [fault.label for fault in table().faults].index("R6 open"), :, place] = 10e3
    value[1 + [fault.label for fault in table().faults].index("R4 open"), :, place] = 33e3
    return replace(part, value=value, settled=np.where(np.isfinite(part.settled), value[:, 0], np.nan))
