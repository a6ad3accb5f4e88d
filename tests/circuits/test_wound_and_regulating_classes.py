"""Transformers and regulators do what their names and facts say."""

from __future__ import annotations

import numpy as np
import pytest

from tests.circuits.solve import facts, model, run


def ratio(name: str, turns: float, load: float, frequency: float, short: bool = False) -> tuple[float, float]:
    """Return secondary volts for one volt at the primary, and the impedance the primary shows [ohm]."""
    text = "\n".join(model(name))
    lines = (text.replace("1meg", "10m") if short else text).splitlines()
    lines += ["Vi i 0 dc 0 ac 1", f"Rl o 0 {load:g}", f"Xt i 0 o 0 {name} turns={turns:g}"]
    result = run(lines, f"ac lin 1 {frequency:g} {frequency:g}")
    return float(abs(result["o"][0])), float(abs(1 / result["vi#branch"][0]))


@pytest.mark.parametrize(("name", "turns", "load", "frequency"), [
    ("transformer_line", 1.0, 600.0, 1e3), ("transformer_line", 0.1, 60e3, 1e3),
    ("transformer_output_se", 25.0, 8.0, 1e3), ("transformer_mains", 0.92, 1e3, 50.0),
])  # fmt: skip
def test_volts_by_the_turns_and_ohms_by_their_square(name: str, turns: float, load: float, frequency: float) -> None:
    """An ideal transformer's volts go by the turns ratio and its impedance by the square; copper costs some of it."""
    volts, ohms = ratio(name, turns, load, frequency)
    assert 0.85 / turns < volts < 1 / turns
    assert turns**2 * load * 0.9 < ohms < turns**2 * load * 1.3


@pytest.mark.parametrize(("name", "turns", "load", "frequency"), [
    ("transformer_output_se", 25.0, 8.0, 400.0), ("transformer_mains", 0.92, 20e3, 50.0),
])  # fmt: skip
def test_shorted_turns_load_the_primary(name: str, turns: float, load: float, frequency: float) -> None:
    volts, ohms = ratio(name, turns, load, frequency)
    less, heavy = ratio(name, turns, load, frequency, short=True)
    assert heavy < ohms / 5
    assert less < 0.7 * volts


@pytest.mark.parametrize(("name", "shorted", "pins", "turns", "stack", "wire"), [
    ("transformer_mains", "Rl o 0 1m", "i 0 o 0", 920, 0.037, 0.40e-3),
    ("transformer_mains_tapped", "Rl o q 1m", "i 0 o 0 q", 705, 0.047, 0.45e-3),
])  # fmt: skip
def test_a_mains_transformers_copper_and_leakage_are_those_of_one_winding(
    name: str, shorted: str, pins: str, turns: int, stack: float, wire: float
) -> None:
    """Leakage 10.6 N² MT (2nc + a)/(n² b 10⁹) henry, in inches: R. Lee, Electronic Transformers and Circuits (1947).

    The winding: 230 V on a lamination of 96 mm, tongue 34 mm, window 44 mm by 14 mm (from memory, to be verified).
    With three times the leakage the transformer rings with its reservoir, and one of a fifth of 47 µF charges higher
    than a whole one.
    """
    mean_turn, breadth, height, gap = 2 * (0.034 + stack) + np.pi * 0.014, 0.044, 0.014, 0.5e-3
    inch = 0.0254
    leakage = 10.6 * turns**2 * mean_turn / inch * (2 * gap + height) / breadth / 1e9
    copper = 1.72e-8 * turns * mean_turn / (np.pi / 4 * wire**2)
    result = run([*model(name), "Vi i 0 dc 0 ac 1", shorted, f"Xt {pins} {name} turns=1"], "ac lin 1 50 50")
    ohms = 1 / -result["vi#branch"][0]
    assert ohms.imag / (2 * np.pi * 50) == pytest.approx(leakage, rel=0.2)
    assert ohms.real == pytest.approx(2 * copper, rel=0.2)


def test_the_halves_of_a_push_pull_primary_are_alike() -> None:
    """Driven at one anode, the other one swings as far the other way; from anode to anode it is N² times the load."""
    lines = [*model("transformer_output_pp"), "Vi p c dc 0 ac 1", "Rc c 0 1m", "Rq q 0 1g", "Rl o 0 8",
             "Xt p c q o 0 transformer_output_pp turns=32"]  # fmt: skip
    result = run(lines, "ac lin 1 1k 1k")
    assert result["q"][0].real == pytest.approx(-0.94, abs=0.02)
    assert abs(1 / result["vi#branch"][0]) == pytest.approx(32**2 * 8 / 4, rel=0.1)


@pytest.mark.parametrize(("name", "sign"), [("regulator_positive", 1), ("regulator_negative", -1)])
@pytest.mark.parametrize("volts", [5.0, 12.0, 15.0])
def test_regulators(name: str, sign: int, volts: float) -> None:
    known = facts("models", name)["facts"]

    def out(given: float, load: float) -> float:
        lines = [*model(name), f"Vi i 0 {sign * given}", f"Rl o 0 {load:g}", f"Xr i 0 o {name} volt={volts:g}"]
        return sign * float(run(lines, "op")["o"][0].real)

    assert out(volts + 5, 100) == pytest.approx(volts, abs=0.02)
    assert out(volts + 15, 100) - out(volts + 5, 100) == pytest.approx(10 * known["line_regulation"], abs=1e-3)
    assert out(volts - 1, 100) == pytest.approx(volts - 1 - known["drop_out"], abs=0.1)
    assert out(volts + 5, 0.1) / 0.1 == pytest.approx(known["current_limit"], rel=0.02)
    assert out(0, 100) == pytest.approx(0, abs=0.01)


def test_a_regulator_attenuates_ripple() -> None:
    """Line regulation of 0.4 mV/V is a ripple rejection of 68 dB, the class's typical figure (from memory)."""
    name = "regulator_positive"
    lines = [*model(name), "Vi i 0 dc 20 ac 1", "Rl o 0 100", f"Xr i 0 o {name} volt=12"]
    assert 20 * np.log10(abs(run(lines, "ac lin 1 100 100")["o"][0])) == pytest.approx(-68, abs=2)


def test_a_power_amplifier_chip_gives_what_its_facts_say() -> None:
    known = facts("models", "poweramp-integrated")["facts"]
    lines = [*model("poweramp-integrated"), "Vp vp 0 25", "Vn vn 0 -25", "Vin p 0 dc 0.5", "Rf o n 22k", "Rg n 0 1k",
             "Xu p n vp vn o poweramp-integrated"]  # fmt: skip
    assert run([*lines, "Rl o 0 8"], "op")["o"][0].real == pytest.approx(0.5 * 23, rel=0.005)
    hard = [line.replace("dc 0.5", "dc 3") for line in lines]
    assert run([*hard, "Rl o 0 8"], "op")["o"][0].real == pytest.approx(25 - known["rail_drop"] - 1.5, abs=1.0)
    assert run([*hard, "Rl o 0 0.1"], "op")["o"][0].real / 0.1 == pytest.approx(known["current_limit"], rel=0.15)
