"""Signature tables of whole units with a few faults: whole ones take minutes to build."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from lostgain import signature_table
from lostgain.circuit import Circuit
from lostgain.faults import Fault
from lostgain.signatures import Table, build


def with_some_faults(circuit: Circuit, some: Callable[[Circuit], list[Fault]], levels: bool = False) -> Table:
    """Return a unit's table with these faults and no stray paths; with the generator's further levels if asked for."""
    if not levels:
        circuit = replace(circuit, unit=replace(circuit.unit, setup=replace(circuit.unit.setup, levels=())))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(build, "listing", some)
        patch.setattr(build, "strays", lambda circuit: [])
        return signature_table(circuit)
