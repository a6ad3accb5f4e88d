"""Each op-amp class does what its facts say, and behaves at its limits."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain.circuit import build
from lostgain.circuit.model import driven
from lostgain.faults import parse, put_in
from lostgain.unit import open_unit
from tests.circuits.solve import facts, model, powered, run

CLASSES = ["opamp-bipolar", "opamp-jfet", "opamp-lownoise"]


def alone(name: str, *lines: str) -> list[str]:
    """Return one op-amp on ±15 V, its pins named p, n, vp, vn, o."""
    return [*model(name), "Vp vp 0 15", "Vn vn 0 -15", f"Xu p n vp vn o {name}", *lines]


@pytest.mark.parametrize("name", CLASSES)
def test_open_loop_gain_and_gain_bandwidth(name: str) -> None:
    known = facts("models", name)["facts"]
    lines = alone(name, "Vin p 0 dc 0 ac 1", "Rn n 0 1m", "Rl o 0 10meg")
    low, high = (abs(run(lines, f"ac lin 1 {f:g} {f:g}")["o"][0]) for f in (1e-3, known["gain_bandwidth"] / 10))
    assert low == pytest.approx(known["open_loop_gain"], rel=0.01)
    assert high == pytest.approx(10, rel=0.01)  # one pole: gain times frequency is constant


@pytest.mark.parametrize("name", CLASSES)
def test_output_resistance_current_limit_and_supply_current(name: str) -> None:
    known = facts("models", name)["facts"]
    probe = run(alone(name, "Rp p 0 1m", "Rn n 0 1m", "Io 0 o dc 0 ac 1"), "ac lin 1 1k 1k")
    assert abs(probe["o"][0]) == pytest.approx(known["output_resistance"], rel=0.01)
    shorted = run(alone(name, "Vin p 0 1", "Rn n 0 1m", "Rl o 0 0.1"), "op")
    assert shorted["o"][0].real / 0.1 == pytest.approx(known["current_limit"], rel=0.1)
    idle = run(alone(name, "Rp p 0 1m", "Rn n 0 1m", "Rl o 0 1meg"), "op")
    # a class-A share of the output stage of 1 % of its limit flows besides
    assert -idle["vp#branch"][0].real == pytest.approx(known["supply_current"], rel=0.2)


@pytest.mark.parametrize("name", CLASSES)
def test_output_current_comes_from_the_rail_it_should(name: str) -> None:
    idle = run(alone(name, "Vin p 0 0", "Rf o n 1", "Rl o 0 1k"), "op")
    sourcing = run(alone(name, "Vin p 0 5", "Rf o n 1", "Rl o 0 1k"), "op")
    sinking = run(alone(name, "Vin p 0 -5", "Rf o n 1", "Rl o 0 1k"), "op")
    assert -(sourcing["vp#branch"] - idle["vp#branch"])[0].real == pytest.approx(5e-3, rel=0.1)
    assert (sinking["vn#branch"] - idle["vn#branch"])[0].real == pytest.approx(5e-3, rel=0.1)
    assert abs((sourcing["vn#branch"] - idle["vn#branch"])[0].real) < 0.5e-3


@pytest.mark.parametrize("name", CLASSES)
@pytest.mark.parametrize("supply", [(15, -15), (9, -15), (12, -5), (24, 0)])
def test_swing_stops_short_of_the_supply_pins(name: str, supply: tuple[float, float]) -> None:
    drop = facts("models", name)["facts"]["rail_drop"]
    lines = alone(name, "Vin p 0 dc 1", "Vref n 0 0", "Rl o 0 100k")
    lines[-6:-4] = [f"Vp vp 0 {supply[0]}", f"Vn vn 0 {supply[1]}"]
    assert run(lines, "op")["o"][0].real == pytest.approx(supply[0] - drop, abs=0.2)
    assert run([line.replace("dc 1", "dc -1") for line in lines], "op")["o"][0].real == pytest.approx(
        supply[1] + drop, abs=0.2
    )


@pytest.mark.parametrize("name", CLASSES)
def test_it_comes_back_from_clipping_without_delay(name: str) -> None:
    """Overdriven tenfold, the output is back as soon as slew rate and bandwidth allow: nothing winds up."""
    known = facts("models", name)["facts"]
    parts: dict[str, float | str] = {"U": name, "RIN": 1e3, "RF": 10e3}
    drive = "dc 0 pulse(0 10 10u 10n 10n 200u 1)"
    result = run(powered("inverting", parts, drive), "tran 0.1u 300u 0 0.1u")
    time, out = result["time"], result["out"]
    assert out[(time > 150e-6) & (time < 200e-6)].max() < -12
    settle = 14 / known["slew_rate"] + 7 * 11 / (2 * np.pi * known["gain_bandwidth"])
    assert np.abs(out[time > 210.1e-6 + 1.2 * settle]).max() < 0.05


@pytest.mark.parametrize("name", CLASSES)
def test_without_any_supply_it_does_not_amplify_what_little_would_fit(name: str) -> None:
    """With ±15 V 1 mV comes out a hundred times as large; with both supply pins at 0 V next to nothing does."""
    alive = alone(name, "Vin p 0 dc 0 ac 1m", "Rf o n 9.9k", "Rg n 0 100", "Rl o 0 10k")
    dead = [line.replace("Vp vp 0 15", "Vp vp 0 0").replace("Vn vn 0 -15", "Vn vn 0 0") for line in alive]
    assert abs(run(alive, "ac lin 1 100 100")["o"][0]) == pytest.approx(0.1, rel=0.02)
    assert abs(run(dead, "ac lin 1 100 100")["o"][0]) < 0.1e-3


@pytest.mark.parametrize("name", CLASSES)
@pytest.mark.parametrize("pin", ["vp", "vn"])
def test_with_a_supply_pin_open_it_is_dead(name: str, pin: str) -> None:
    """The output hangs between ground and the remaining rail, and no signal worth the name comes through."""
    lines = alone(name, "Vin p 0 dc 0 ac 1", "Rf o n 1", "Rl o 0 10k")
    lines = [line.replace(f"V{pin[1]} {pin} 0", f"Rcut {pin} supply 1e9\nV{pin[1]} supply 0") for line in lines]
    rest = run(lines, "op")["o"][0].real
    remaining = -1 if pin == "vp" else 1
    assert -0.1 <= rest * remaining <= 14
    assert abs(run(lines, "ac lin 1 500 500")["o"][0]) < 0.03


@pytest.mark.parametrize("pin", ["p", "n"])
@pytest.mark.parametrize(("name", "cut"), [("opamp-bipolar", 1e9), ("opamp-lownoise", 1e9), ("opamp-jfet", 1e12)])
def test_with_an_input_pin_open_the_output_goes_to_a_rail(name: str, cut: float, pin: str) -> None:
    """A JFET's input current is so small that 1 Gohm still serves it as a connection; its pins open at 1 Tohm."""
    lines = [*model(name), "Vp vp 0 15", "Vn vn 0 -15", f"Xu pc nc vp vn o {name}", "Vin p 0 0", "Rf o n 10k"]
    for one in ("p", "n"):
        lines.append(f"R{one} {one} {one}c {cut if one == pin else 1e-3:g}")
    assert abs(run([*lines, "Rl o 0 10k"], "op")["o"][0].real) > 12


def test_elements_that_faults_and_spreads_change_have_that_effect() -> None:
    text = "\n".join(alone("opamp-jfet", "Vin p 0 dc 0 ac 1", "Rf o n 1m", "Rl o 0 10k"))
    offset = text.replace("vos a inp 0", "vos a inp 5m")
    assert run(offset.splitlines(), "op")["o"][0].real == pytest.approx(5e-3, rel=1e-3)
    resistor = next(line for line in text.splitlines() if line.startswith("rdom")).split()[-1]
    weak = text.replace(resistor, f"{float(resistor) / 2e4:g}")  # open-loop gain of 10
    assert abs(run(weak.splitlines(), "ac lin 1 10 10")["o"][0]) == pytest.approx(10 / 11, rel=0.01)


@pytest.mark.parametrize("fault", ["F1 open", "F1 contact 47k", "VP missing", "VP missing 47k", "VN missing"])
def test_an_operating_point_with_a_supply_lost_is_found_at_once(fault: str) -> None:
    """Five amplifiers on one floating rail: where something overflows, ngspice takes a minute, or gives up."""
    circuit = build(open_unit("choir-desk"))
    flat = driven(put_in(circuit.flat, parse(fault, circuit), circuit), 20e-3, 1e3, 0.0)
    said: list[str] = []
    run(flat.lines()[1:-1], "op", said=said)
    assert not [line for line in said if ", 3 out of range" in line]  # a square is harmless
