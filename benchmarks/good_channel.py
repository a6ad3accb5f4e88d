"""Simulated repairs with a good channel beside the faulty one.

Both are of the same makers' devices, on the same generator, at the same control setting, and read with the same
instruments; each has its own tolerances. Faults of what the channels share are left out: no channel would be good.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from benchmarks.cases import Case, begun, meters, sheet
from benchmarks.meters import first_sheet
from benchmarks.parts import built
from benchmarks.process import process
from benchmarks.simulate import job
from benchmarks.truth import Prior, Truth
from lostgain.circuit import Circuit
from lostgain.readings import Readings

#: The share of the faults simulated that is read so.
SHARE = 0.1


def chosen(circuit: Circuit, cases: Sequence[Case]) -> list[Case]:
    """Return the cases that get a good channel: the first ones that can have one; none in a unit of one channel."""
    faults = [case for case in cases if case.truth.kind == "fault"]
    fit = [case for case in faults if case.truth.fault is not None and not case.truth.fault.shared and case.usable]
    return fit[: round(SHARE * len(faults))] if len(circuit.unit.channels) > 1 else []


def good_of(prior: Prior, case: Case) -> Case:
    """Return the good channel beside a case's faulty one, not simulated yet."""
    circuit = prior.circuit
    _, shared, _ = begun(prior, case.truth.kind, case.seed)
    flat = built(circuit, shared, np.random.default_rng([*case.seed, 104729]))
    setup = job(circuit, flat, shared.generator, process()["simulation"], in_time=True)
    return Case(Truth("healthy", says="healthy"), case.seed, setup)


def both(circuit: Circuit, faulty: Case, good: Case) -> Readings:
    """Return the readings of both channels; those of the faulty one are those it has alone."""
    assert good.carried is not None
    name = circuit.unit.channels[1].name
    alone, instruments = sheet(circuit, faulty), meters(circuit, faulty)
    assert faulty.carried is not None
    first_sheet(circuit, faulty.carried, circuit.unit.channels[0].name, instruments)  # draws the same readings again
    rows = first_sheet(circuit, good.carried, name, instruments)
    return replace(alone, rows=(*alone.rows, *rows), good=name)
