"""A capacitance meter in a drill: what it shows of a lifted capacitor, good and bad.

Sources
-------
The capacitance that a meter with a sine shows is that of a capacitor with the same reactance, C = 1 / (2 pi f X): a
capacitor with a resistor across it therefore reads more than it has. Alternating-current theory, no source needed.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest

from lostgain import UserError, parse_fault
from lostgain.readings import instruments, read
from lostgain.teach import draw
from lostgain.teach.record import UNSAFE, drill_from, drill_record
from tests.teach.drilled import done, drilled, megaphone, pool

METER = instruments()["capacitance-meter"]
LIFT = ("power off", "discharge", "lift C3")


def exact(drill, *lines: str) -> float | None:
    """Reading of a meter without errors, but for those of a single reading and its last digit."""
    meters = {**drill.hidden.meters, METER.name: (0.0, 0.0)}
    still = replace(drill, hidden=replace(drill.hidden, meters=meters))
    return done(still, *LIFT, *lines, "C3, capacitance").drill.readings[-1].value


def built(drill, channel: str = "Port") -> float:
    """What C3 was built with [F]."""
    name = megaphone()[1].parts["C3"].element
    return drill.hidden.built[channel].values[name][1]


def test_a_good_capacitor_reads_what_it_was_built_with() -> None:
    drill = drilled("R6 drift 0.25x")
    assert built(drill) != pytest.approx(47e-6, rel=0.01)  # its tolerance
    assert exact(drill) == pytest.approx(built(drill), rel=0.02)


def test_lost_capacitance_reads_what_is_left() -> None:
    drill = drilled("C3 lost 0.1%")
    left = drill.hidden.faults[0].severity
    assert left == pytest.approx(1e-3)
    assert exact(drill) == pytest.approx(left * built(drill), rel=0.02)


def test_an_open_one_reads_next_to_nothing_and_a_new_one_what_it_should() -> None:
    drill = drilled("C3 open")
    assert exact(drill) == pytest.approx(10e-12, abs=4e-12)
    assert exact(drill, "replace C3", "lift C3") == pytest.approx(47e-6, rel=0.25)


def test_a_short_is_over_range_and_a_leak_reads_more_than_there_is() -> None:
    drill = drilled("R6 drift 0.25x")
    _, circuit = megaphone()

    def with_fault(text: str):
        return replace(drill, hidden=replace(drill.hidden, faults=(parse_fault(text, circuit),)))

    short = done(with_fault("C3 short"), *LIFT, "C3, capacitance").drill.readings[-1]
    assert short.above
    assert short.text == "> 20 mF"
    leak = 60.0  # ohm, across the capacitor and its own resistance
    own = done(drill, *LIFT, "C3, esr").drill.readings[-1].value - 1j / (2 * pi * METER.test_frequency * built(drill))
    both = leak * own / (leak + own)
    expected = -1 / (2 * pi * METER.test_frequency * both.imag)
    assert expected > 1.15 * built(drill)
    assert exact(with_fault(f"C3 leaky {leak:g}")) == pytest.approx(expected, rel=0.02)


def test_the_meters_error_is_the_drills() -> None:
    drill = drilled("R6 drift 0.25x")
    shown = []
    for gain in (-1.0, 1.0):
        meters = {**drill.hidden.meters, METER.name: (gain, 0.0)}
        shown.append(done(replace(drill, hidden=replace(drill.hidden, meters=meters)), *LIFT,
                          "C3, capacitance").drill.readings[-1].value)  # fmt: skip
    assert shown[1] / shown[0] == pytest.approx((1 + METER.scale_error) / (1 - METER.scale_error), rel=1e-3)
    twice = done(drill, *LIFT, "C3, capacitance", "C3, capacitance").drill
    assert twice.readings[0].value == pytest.approx(twice.readings[1].value, rel=1e-3)
    assert METER.name in drill_record(drill)["hidden"]["meters"]  # drawn once, and kept with the drill
    assert drill_from(drill_record(twice)) == twice


def test_it_is_read_out_of_circuit_with_the_power_off() -> None:
    drill = drilled("C3 open")
    with pytest.raises(UserError, match="lift C3 first"):
        done(drill, "power off", "discharge", "C3, capacitance")
    with pytest.raises(UserError, match="R4 is no capacitor"):
        done(drill, "power off", "discharge", "lift R4", "R4, capacitance")
    with pytest.raises(UserError, match="only Port is on the bench"):
        done(drilled("C3 open", level=3), "power off", "C103, capacitance")
    live = done(drill, "C3, capacitance").drill
    assert (live.ended, live.hazard) == (UNSAFE, "live-ohms")
    step = done(drill, *LIFT, "C3, capacitance").step
    assert not step.compared  # no signature holds it


def test_a_multimeter_reads_it_too_and_an_oscilloscope_does_not() -> None:
    drill = drilled("C3 open")
    assert done(drill, *LIFT, "instrument dmm", "C3, capacitance").step.reading.instrument == METER.name


def test_in_a_readings_file_it_is_left_out_with_a_warning(tmp_path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("test point,quantity,value,frequency,channel\nU1 pin 7,level,1 Vpp,500 Hz,Port\n"
                    "C3,capacitance,2 nF,,Port\n")  # fmt: skip
    found = read(file, megaphone()[0])
    assert len(found.rows) == 1
    assert any("capacitance is not compared" in each for each in found.warnings)


def test_seeds_hide_what_they_hid_before_there_was_such_a_meter(monkeypatch) -> None:
    unit, circuit = megaphone()
    now = draw.draw(unit, circuit, 2, 5, pool())
    older = {name: each for name, each in instruments().items() if name not in draw.ADDED}
    monkeypatch.setattr(draw, "instruments", lambda folder: older)
    then = draw.draw(unit, circuit, 2, 5, pool())
    assert (now.faults, now.built, now.spares, now.generator) == (then.faults, then.built, then.spares, then.generator)
    assert {name: now.meters[name] for name in older} == then.meters
