"""Every pin of every part opened, every pair of pins shorted: the operating point is still found."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest

from lostgain.unit import library
from tests.circuits.examples import EXAMPLES
from tests.circuits.solve import powered, run

SHORT = 0.1
PINS = {"R": 2, "C": 2, "L": 2, "D": 2, "Q": 3, "J": 3}


def faulty(lines: list[str], cut: float) -> Iterator[tuple[str, list[str]]]:
    """Yield each single fault of a composed stage, by name, with its netlist.

    Parameters
    ----------
    lines : list of str
        The stage's own lines come first, up to the first ``.ends``.
    cut : float
        Resistance of an open joint [ohm].
    """
    for row, line in enumerate(lines[: lines.index(".ends")]):
        if line.startswith("."):
            continue
        name, *words = line.split()
        count = PINS.get(name[0]) or next(number for number, word in enumerate(words) if word in library.device_names())
        for pin in range(count):
            moved = [*words[:pin], "cut", *words[pin + 1 :]]
            change = [" ".join([name, *moved]), f"Rcut {words[pin]} cut {cut:g}"]
            yield f"{name} pin {pin} open", lines[:row] + change + lines[row + 1 :]
        for one, other in combinations(range(count), 2):
            if words[one] != words[other]:
                change = [line, f"Rbridge {words[one]} {words[other]} {SHORT:g}"]
                yield f"{name} pins {one}-{other} short", lines[:row] + change + lines[row + 1 :]


@pytest.mark.parametrize("cut", [1e8, 1e9, 1e12])
@pytest.mark.parametrize("name", EXAMPLES)
def test_an_operating_point_is_found_with_every_pin_open_and_every_pair_shorted(name: str, cut: float) -> None:
    parts, load, volts = EXAMPLES[name]
    lost = []
    for fault, lines in faulty(powered(name, parts, "dc 0", load, volts), cut):
        try:
            result = run(lines, "op")
        except RuntimeError:
            lost.append(fault)
            continue
        if not np.isfinite(result["out"][0]):
            lost.append(fault)
    assert lost == []


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_healthy_operating_point_is_found_at_once(name: str) -> None:
    """No gmin or source stepping, which costs 20 to 60 times as much: a signature table takes tens of thousands."""
    parts, load, volts = EXAMPLES[name]
    for source in ("dc 0", "dc 3", "dc -9"):
        said: list[str] = []
        run(powered(name, parts, source, load, volts), "op", said=said)
        assert not [line for line in said if "step" in line.lower()]


RAILS = [(name, port) for name in EXAMPLES for port in library.stage(name).rails]


@pytest.mark.parametrize(("name", "port"), RAILS)
def test_an_operating_point_is_found_with_a_rail_missing(name: str, port: str) -> None:
    parts, load, volts = EXAMPLES[name]
    lines = powered(name, parts, "dc 0", load, volts)
    rail = f"V{port.removeprefix('v')}"
    for dead in (" 0 0", " cut 0"):
        changed = [line if not line.startswith(rail + " ") else f"{rail} {port}{dead}" for line in lines]
        if dead == " cut 0":
            changed.append("Rcut cut 0 1e9")
        assert np.isfinite(run(changed, "op")["out"][0])
