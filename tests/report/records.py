"""Records to draw pictures of: a real circuit with invented numbers, so that no simulation is waited for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from lostgain.circuit import Circuit, build
from lostgain.diagnosis import Group, Suspect, Verdict
from lostgain.faults import Fault, parse
from lostgain.readings import Readings
from lostgain.readings.model import Reading
from lostgain.signatures import Prediction, State, Table
from lostgain.signatures.predict import sweep_frequencies
from lostgain.signatures.row import empty
from lostgain.signatures.table import assembled
from lostgain.unit import open_unit
from tests.conftest import REPOSITORY

#: How a signal may look; all invented.
KINDS = ("gone", "clipped", "lost bass", "dc", "no result", "unsettled")
PHASES = 64
LONG = "R1014, the end that is nearer to the connector on the left edge of the board, under the shield"


@cache
def circuit() -> Circuit:
    return build(open_unit(REPOSITORY / "tests" / "units" / "chain"))


@cache
def fault(text: str = "C1 lost 2%") -> Fault:
    return parse(text, circuit())


def state(level: np.ndarray, shape: str = "sine", dc: float = 0.0) -> State:
    """Return a state with these levels [V rms], (point, frequency)."""
    sine = np.sin(2 * np.pi * np.arange(PHASES) / PHASES)
    unit = np.clip(sine, -0.4, 0.4) if shape == "clipped" else sine
    wave = level[:, :, None] * 2**0.5 * unit
    return State(
        dc=np.full(len(level), dc), level=level, swing=level * 2**1.5, wave=wave,
        settled=np.ones(level.shape[1], dtype=bool), response=np.full(len(sweep_frequencies()), 3.0),
    )  # fmt: skip


def prediction(kind: str) -> Prediction:
    """Return a prediction of one of `KINDS`."""
    points, frequencies = tuple(circuit().points), circuit().unit.setup.frequencies
    level = np.repeat(np.array([0.2, 0.2, 2.2, 1.1, 0.55])[:, None], len(frequencies), axis=1)
    healthy, faulty = state(level), level.copy()
    shape, dc = ("clipped", 0.0) if kind == "clipped" else ("sine", 13.1 if kind == "dc" else 0.0)
    if kind == "gone":
        faulty[2:] = 0.0
    if kind == "lost bass":
        faulty[1:, 1] *= 0.1
    bad = state(faulty, shape, dc)
    if kind == "no result":
        none = state(level * np.nan, dc=np.nan)
        said = ("no operating point: singular matrix", "no transient at 500 Hz: timestep too small")
        bad = replace(none, response=none.response * np.nan, settled=none.settled & False, trouble=said)
    if kind == "unsettled":
        bad = replace(bad, settled=bad.settled & False)
    return Prediction(circuit(), (fault(),), points, frequencies, sweep_frequencies(), healthy, bad)


def renamed(found: Prediction, name: str = LONG) -> Prediction:
    """Return the prediction with its second test point under another name, in the unit as well."""
    old = found.points[1]
    unit = found.circuit.unit
    points = tuple(replace(point, name=name, reach=False) if point.name == old else point for point in unit.points)
    nodes = {name if point == old else point: node for point, node in found.circuit.points.items()}
    board = replace(found.circuit, unit=replace(unit, points=points), points=nodes)
    return replace(found, circuit=board, points=tuple(nodes))


def table(names: Sequence[str] = ("C1 lost 2%", "R2 open")) -> Table:
    """Return a signature table of three samples a row, the last row of which has no numbers."""
    rows = []
    for index in range(len(names) + 1):
        one = prediction("gone" if index else "healthy").faulty
        spread = np.array([1.0, 0.9, 1.2])[:, None, None] * (np.nan if index == len(names) else 1.0)
        rows.append(
            replace(
                empty(circuit(), 3),
                dc=one.dc * spread[:, 0],
                level=one.level * spread,
                swing=one.swing * spread,
                wave=one.wave,
                small_signal=one.settled,
                settled=one.settled,
            )
        )
    return assembled(circuit(), tuple(fault(name) for name in names), rows, "invented", 1)


def readings() -> Readings:
    """Return readings of both channels: numbers, words, another frequency, another quantity."""
    rows = (
        Reading("U1 pin 1", "level", "Up line", 2.2, frequency=500.0, text="6.2 Vpp"),
        Reading("U1 pin 1", "level", "Down line", 0.7, frequency=500.0, text="2 Vpp"),
        Reading("U1 pin 3", "level", "Down line", None, "same as good", frequency=500.0, text="same as good"),
        Reading("TP4", "level", "Down line", None, "nothing", frequency=40.0, text="nothing"),
        Reading("TP4", "level", "Down line", 0.1, frequency=1234.0, text="100 mV rms"),
        Reading("TP4", "dc", "Down line", 0.01, text="10 mV"),
    )
    return Readings(rows, unreachable=(("J1 hot", "Down line"),), good="Up line")


def verdict(count: int = 2, healthy: float = 0.05, unexplained: float = 0.01) -> Verdict:
    """Return a verdict of some suspects, two to a group."""
    texts = ("C1 lost 2%", "R2 open")
    shares = np.array([0.5**number for number in range(count)])
    shares *= (1 - healthy - unexplained) / max(shares.sum(), 1e-9)
    suspects = tuple(
        Suspect(f"C{100 + number}", "lost", 0.02, None, f"C{100 + number} has about 2 nF left of 10 µF, and a long "
                "sentence goes on here that cannot stand in one line of the picture (0.8 nF to 5 nF)", "Input coupling",
                "Down line", float(share), 0.01, number // 2 + 1, fault(texts[number % 2]))
        for number, share in enumerate(shares)
    )  # fmt: skip
    groups = tuple(
        Group(number, tuple(f"{each.part} {each.mode}" for each in suspects if each.group == number),
              sum(each.probability for each in suspects if each.group == number))
        for number in sorted({each.group for each in suspects})
    )  # fmt: skip
    return Verdict(suspects, healthy, unexplained, groups, ("Read U1 pin 3 first.",), "invented", "bench default", 6)
