"""Severities between the catalogue's, where a straight line between two rows would be wrong."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.diagnosis.steps import mode_of, steps
from lostgain.engine import Pool
from lostgain.faults import Fault, listing
from lostgain.faults.severities import density
from lostgain.signatures import Table, bends, table
from lostgain.signatures import build as building
from lostgain.signatures.bends import BEND_DB, HALVED, refined
from tests.circuit.units import AMPLIFIER, make
from tests.signatures.units import SMALL, SMALL_NETLIST


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    """A resistor into a capacitor, and a divider."""
    return build(make(tmp_path_factory.mktemp("units") / "small", SMALL, board=SMALL_NETLIST), pool)


@pytest.fixture(scope="module")
def found(circuit: Circuit, pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Table:
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("LOSTGAIN_CACHE", str(tmp_path_factory.mktemp("cache")))
        return table(circuit, pool, draws=2)


def levels(faults: tuple[Fault, ...], part: str, mode: str) -> list[float]:
    return [fault.severity or 0.0 for fault in faults if (fault.part, fault.mode) == (part, mode)]


def lowpass(fault: Fault, farads: float = 100e-9, frequency: float = 10e3) -> float:
    """Level behind the divider at 10 kHz with C1 leaky or lost, by hand [dB]."""
    leak = fault.severity if fault.mode == "leaky" else math.inf
    share = fault.severity or 1.0 if fault.mode == "lost" else 1.0
    load = 1 / (1 / 20e3 + 1 / (leak or 1.0) + 2j * math.pi * frequency * farads * share)
    return 20 * math.log10(abs(load / (1000 + load)) / 2)


def test_every_severity_of_the_catalogue_stays_in_its_order(circuit: Circuit, pool: Pool) -> None:
    listed = listing(circuit)
    more = refined(circuit, listed, pool)
    assert [fault for fault in more if fault in set(listed)] == listed
    assert len(set(more)) == len(more) > len(listed)
    for part, mode in {(fault.part, fault.mode) for fault in more}:
        found, given = levels(more, part, mode), levels(tuple(listed), part, mode)
        assert found == sorted(found, reverse=given != sorted(given))
        assert len(found) <= 1 + (len(given) - 1) * 2**HALVED


def test_no_straight_line_is_left_that_is_far_off(circuit: Circuit, pool: Pool) -> None:
    """Checked by hand on one capacitor: what the loss does half-way between two rows."""
    listed = listing(circuit)
    more = refined(circuit, listed, pool)
    for mode in ("lost", "leaky"):
        rows, given = sorted(levels(more, "C1", mode)), np.array(sorted(levels(tuple(listed), "C1", mode)))
        for one, other in pairwise(rows):
            ends = [lowpass(Fault("C1", mode, each)) for each in (one, other)]
            half = lowpass(Fault("C1", mode, math.sqrt(one * other)))
            stretch = given[given >= 0.999 * other].min() / given[given <= 1.001 * one].max()
            halved = math.log(other / one) < 1.01 * math.log(stretch) / 2**HALVED
            assert abs(half - sum(ends) / 2) < BEND_DB + 0.05 or halved, (mode, one, other)


def test_what_is_straight_is_no_bend() -> None:
    def shown(level: float, dc: float = 0.0) -> bends.Shown:
        return bends.Shown(np.array([dc]), np.array([level]))

    assert not bends._bent(shown(0), shown(-3), shown(-10))
    assert bends._bent(shown(0), shown(-2), shown(-10))
    assert bends._bent(shown(0), shown(0, 0.4), shown(0))


def test_a_table_has_them_and_opens_with_them(circuit: Circuit, pool: Pool, found: Table) -> None:
    assert len(found.faults) > len(listing(circuit))
    assert found.data.sizes["row"] == 1 + len(found.faults) + len(found.strays)
    severities = found.data["severity"].values[1 : 1 + len(found.faults)]
    given = [np.nan if fault.severity is None else fault.severity for fault in found.faults]
    np.testing.assert_array_equal(severities, given)


def test_opened_again_it_has_the_same_faults(
    circuit: Circuit, pool: Pool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path))
    built = table(circuit, pool, draws=2)
    monkeypatch.setattr(building, "refined", None)  # opened, not built once more
    assert table(circuit, None, draws=2).faults == built.faults


def test_the_severity_prior_does_not_hang_on_where_the_rows_are(found: Table) -> None:
    """The steps between rows carry the density of the catalogue's prior, wherever rows lie."""
    known = steps(found)
    for number, fault in enumerate(known.suspects):
        mine = np.flatnonzero(known.fault == number)
        if fault.severity is None or len(mine) < 3:
            continue
        assert known.prior[mine].sum() == pytest.approx(1.0)
        at, share = known.severity[mine], known.prior[mine]
        order = np.argsort(at)
        width = np.gradient(np.log(at[order]))
        wanted = density(mode_of(found, fault), at[order]) * width
        assert np.abs(np.cumsum(share[order]) - np.cumsum(wanted) / wanted.sum()).max() < 0.12


def test_a_unit_with_op_amps_has_more_rows_where_inputs_leak(tmp_path: Path, pool: Pool) -> None:
    amplifier = build(make(tmp_path / "amplifier", AMPLIFIER), pool)
    listed = listing(amplifier)
    more = refined(amplifier, listed, pool)
    assert len(levels(more, "U1A", "inp-leaky")) > len(levels(tuple(listed), "U1A", "inp-leaky"))
    inside = [
        sum(low < each < high for each in levels(more, part, mode))
        for part, mode in {(fault.part, fault.mode) for fault in listed if fault.severity is not None}
        for low, high in pairwise(sorted(levels(tuple(listed), part, mode)))
    ]
    assert 1 < max(inside) < 2**HALVED, "where it bends most, halves are halved in turn"
