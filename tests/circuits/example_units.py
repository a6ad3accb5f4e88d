"""A stage's worked example as a unit, through the package's own composer, and what is measured on it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from lostgain import quantities
from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import RunFailed, Session
from lostgain.faults import Fault, put_in
from lostgain.unit import open_unit
from lostgain.unit.facts import Shown, StageFacts
from lostgain.unit.model import Unit
from tests.circuits.solve import run

#: Periods followed in time before the two that are looked at.
SETTLE = 20


def toml(value: Any) -> str:
    """Write a value of an example's set-up as TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {toml(each)}" for key, each in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def point(node: str) -> str:
    """The name of the test point at a node of an example."""
    return f"Node {node.upper()}"


def unit_of(facts: StageFacts, folder: Path) -> Unit:
    """Return a unit that is the stage's example and nothing else, written into a folder."""
    example = facts.example
    assert example is not None
    lines = ["[unit]", f"title = {toml(facts.title)}", "[rails]"]
    rails = {port: port.upper() if number(volts) else "0" for port, volts in example.rails.items()}
    lines += [f"{name} = {toml(example.rails[port])}" for port, name in rails.items() if name != "0"]
    setup = {key: value for key, value in example.setup.items() if not isinstance(value, dict)}
    lines += ["[setup]", *(f"{key} = {toml(value)}" for key, value in setup.items())]
    lines += [f"{key} = {toml(value)}" for key, value in example.setup.items() if isinstance(value, dict)]
    lines += ["[[stage]]", 'name = "Example"', f"use = {toml(facts.name)}"]
    lines += [f"{role} = {toml(text)}" for role, text in example.parts.items()]
    lines += [f"rails = {toml(rails)}"] if rails else []
    lines += ["[stage.points]", *(f"{node} = {toml(point(node))}" for node in facts.nodes)]
    (folder / "unit.toml").write_text("\n".join(lines), encoding="utf-8")
    return open_unit(str(folder))


def number(text: str) -> float:
    """Read ``20.8 dB``, ``180 deg``, ``7.6 V``, ``124 kHz`` or ``2 %`` (a share)."""
    found = re.fullmatch(r"([+-]?[\d.]+) ?(dB|deg|%)", text.strip())
    if found:
        return float(found[1]) / (100 if found[2] == "%" else 1)
    dimension = "frequency" if text.strip().lower().endswith("hz") else "voltage"
    return quantities.measure(text, dimension).value


def measured(circuit: Circuit, shown: Shown) -> float:
    """Return what an example shows, in the unit that its quantity has: dB, degrees, V, Hz or a share."""
    frequency = number(shown.frequency) if shown.frequency else circuit.unit.setup.frequencies[0]
    return MEASURES[shown.quantity](circuit, shown, frequency)


def _lines(circuit: Circuit, frequency: float) -> list[str]:
    setup = circuit.unit.setup
    return driven(circuit.flat, setup.generator, frequency, setup.start_dc).lines()[1:-1]


def _ratio(circuit: Circuit, shown: Shown, command: str) -> tuple[np.ndarray, np.ndarray]:
    found = run(_lines(circuit, 1e3), command)
    at, against = (circuit.points[point(node)] for node in (shown.at, shown.against))
    return np.real(found["frequency"]), found[at] / found[against]


def _gain(circuit: Circuit, shown: Shown, frequency: float) -> float:
    return float(20 * np.log10(abs(_ratio(circuit, shown, f"ac lin 1 {frequency:g} {frequency:g}")[1][0])))


def _phase(circuit: Circuit, shown: Shown, frequency: float) -> float:
    degrees = float(np.degrees(np.angle(_ratio(circuit, shown, f"ac lin 1 {frequency:g} {frequency:g}")[1][0])))
    wanted = number(shown.value) if shown.value else 0.0
    return wanted + (degrees - wanted + 180) % 360 - 180  # 179 and -181 degrees are the same


def _dc(circuit: Circuit, shown: Shown, frequency: float) -> float:
    return float(np.real(run(_lines(circuit, frequency), "op")[circuit.points[point(shown.at)]][0]))


def _corner(circuit: Circuit, shown: Shown, frequency: float, up: bool) -> float:
    """Return where the gain first is 3 dB below that at the frequency, going up or down from there."""
    frequencies, ratio = _ratio(circuit, shown, "ac dec 100 0.01 100meg")
    level = 20 * np.log10(np.abs(ratio)) - _gain(circuit, shown, frequency) + 20 * np.log10(2) / 2
    order = np.arange(len(frequencies)) if up else np.arange(len(frequencies))[::-1]
    order = [at for at in order if (frequencies[at] >= frequency) == up]
    low = next(at for at in order if level[at] <= 0)
    ends = [low - 1, low] if up else [low + 1, low]
    return float(np.exp(np.interp(0, level[ends[::-1]], np.log(frequencies[ends[::-1]]))))


def _wave(circuit: Circuit, shown: Shown, frequency: float) -> np.ndarray:
    """Return two periods in time, 2048 samples each."""
    step, stop = 1 / frequency / 400, (SETTLE + 2) / frequency
    found = run(_lines(circuit, frequency), f"tran {step:g} {stop:g} {SETTLE / frequency:g} {step:g}")
    time = np.linspace(SETTLE / frequency, stop, 4096, endpoint=False)
    return np.asarray(np.interp(time, found["time"], found[circuit.points[point(shown.at)]]))


def _swing(circuit: Circuit, shown: Shown, frequency: float) -> float:
    return float(np.ptp(_wave(circuit, shown, frequency)))


def _distortion(circuit: Circuit, shown: Shown, frequency: float) -> float:
    lines = np.abs(np.fft.rfft(_wave(circuit, shown, frequency)))[2:60:2]
    return float(np.linalg.norm(lines[1:]) / lines[0])


MEASURES: dict[str, Callable[[Circuit, Shown, float], float]] = {
    "gain": _gain,
    "phase": _phase,
    "dc": _dc,
    "lower corner": lambda circuit, shown, frequency: _corner(circuit, shown, frequency, up=False),
    "upper corner": lambda circuit, shown, frequency: _corner(circuit, shown, frequency, up=True),
    "swing": _swing,
    "distortion": _distortion,
}


def run_faults(session: Session, item: tuple[Circuit, list[Fault]]) -> list[str]:
    """Put each fault in alone, find its operating point and its response; return those that gave none."""
    circuit, faults = item
    lost = []
    for fault in faults:
        flat: FlatCircuit = put_in(circuit.flat, fault, circuit)
        nodes = [node for node in circuit.points.values() if node in flat.nodes()]
        try:
            session.load(flat.lines())
            found = session.op(nodes)
            response = session.ac([1e3], nodes)
        except RunFailed as error:
            lost.append(f"{fault.label}: {error}")
            continue
        if not (np.isfinite(found).all() and np.isfinite(response).all()):
            lost.append(f"{fault.label}: no number")
    return lost
