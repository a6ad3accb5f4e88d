"""The supply stages' examples show what they say: rectifiers on 230 V, 50 Hz, the others from the rail they take."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain import quantities
from lostgain.unit import library
from lostgain.unit.loads import parse_load
from lostgain.unit.parttext import read_part
from tests.circuits.example_units import number
from tests.circuits.examples import as_value
from tests.circuits.solve import run, stage

SUPPLIES = [facts.name for facts in library.stages() if facts.supplies]


def lines_of(name: str, source: str) -> list[str]:
    """Return a supply stage's example between its source and a load on each rail that it delivers."""
    facts = library.stage(name)
    assert facts.example is not None
    read = {role: read_part(text, facts.roles[role].kind) for role, text in facts.example.parts.items()}
    whole = {
        role: part for role, part in read.items() if part.kind != "fuse" and (part.device or part.value is not None)
    }
    parts = {role: as_value(part, {}) for role, part in whole.items()}
    load = parse_load(facts.example.setup["load"]).ohms
    rails = [f"Rload{port} {port} 0 {load:g}" for port in facts.delivers]
    return [*stage(name, parts), f"Vin in 0 {source}", *rails, f"Xs {' '.join(facts.ports)} {name}"]


@pytest.mark.parametrize("name", SUPPLIES)
def test_the_example_shows_what_it_says(name: str) -> None:
    facts = library.stage(name)
    assert facts.example is not None
    start = quantities.measure(facts.example.setup.get("start_dc", "0 V"), "voltage").value
    if facts.from_mains:
        lines = [*lines_of(name, "sin(0 325.27 50)"), ".options method=gear"]
        settled = run(lines, "tran 50u 0.6 0.56 50u")
        even = np.linspace(0.56, 0.6, 2001)
    else:
        lines = lines_of(name, f"dc {start:g} ac 1")
    for shown in facts.example.shows:
        if facts.from_mains:
            wave = np.interp(even, settled["time"], settled[shown.at])
            found = float(wave.mean() if shown.quantity == "dc" else np.ptp(wave))
        elif shown.quantity == "dc":
            found = float(run(lines, "op")[shown.at][0].real)
        else:
            at = quantities.measure(shown.frequency, "frequency").value
            found = float(20 * np.log10(abs(run(lines, f"ac lin 1 {at:g} {at:g}")[shown.at][0])))
        if shown.at_most:
            assert found <= number(shown.at_most)
        if shown.value:
            share = shown.within.endswith("%")
            allowed = (
                float(shown.within.rstrip(" %")) / 100 * abs(number(shown.value)) if share else number(shown.within)
            )
            assert found == pytest.approx(number(shown.value), abs=allowed)
