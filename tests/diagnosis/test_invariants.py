"""What must not change a verdict: how a number is written, how the catalogue is cut, how a match is computed."""

from __future__ import annotations

import importlib
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain import match
from lostgain.diagnosis import steps as steps_of
from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.hypotheses import hypotheses
from lostgain.diagnosis.likelihood import gaussian, readings_likelihood, rough_likelihood, rough_without_each
from lostgain.diagnosis.makers import LOOSE
from lostgain.diagnosis.observed import Observed, observed
from lostgain.faults import Fault, Mode, Rates, rates
from lostgain.readings.instruments import instruments
from lostgain.readings.model import Reading
from lostgain.readings.values import parse
from tests.diagnosis.megaphone import dc, level, megaphone, probability, readings, taken


@settings(max_examples=15)
@given(st.floats(0.02, 8.0))
def test_units_do_not_matter(volts: float) -> None:
    """The same level in V, mV and dBu (0.7746 V rms at 600 ohm and 1 mW: IEC 60268-2, from memory)."""
    shown = (f"{volts!r} V rms", f"{1e3 * volts!r} mV rms", f"{float(20 * np.log10(volts / 0.6**0.5))!r} dBu")
    verdicts = []
    for text in shown:
        value = parse(text, "level").value
        assert value is not None
        verdicts.append(match(megaphone(), readings(level("U1 pin 1", value), dc("U1 pin 1", 0.01))))
    for other in verdicts[1:]:
        assert other.healthy == pytest.approx(verdicts[0].healthy, rel=1e-4)
        assert [each.part for each in other.suspects[:3]] == [each.part for each in verdicts[0].suspects[:3]]


@dataclass(frozen=True)
class Halved(Rates):
    """Rates in which one mode of one kind is two, each half as frequent."""

    def of_mode(self, kind: str, mode: str) -> float:
        """Return half the share for either half."""
        whole = super().of_mode(kind, "open" if mode == "open-too" else mode)
        return whole / 2 if (kind, mode) in (("resistor", "open"), ("resistor", "open-too")) else whole


def test_a_fault_split_in_two_halves_keeps_its_probability(monkeypatch: pytest.MonkeyPatch) -> None:
    table, bench = megaphone(), rates("bench")
    others = [n for n, fault in enumerate(table.faults, 1) if fault.mode == "open" and fault.part.startswith("R")]
    more = tuple(replace(table.faults[number - 1], mode="open-too") for number in others)
    count = 1 + len(table.faults)
    rows = [*range(count), *others, *range(count, table.data.sizes["row"])]
    split = replace(table, faults=(*table.faults, *more), data=table.data.isel(row=rows))
    known = steps_of._mode

    def mode(kind: str, name: str) -> Mode:
        return replace(known(kind, "open"), name=name) if name == "open-too" else known(kind, name)

    def sentence(fault: Fault, *_: object) -> str:
        return fault.label

    monkeypatch.setattr(steps_of, "_mode", mode)
    monkeypatch.setattr(importlib.import_module("lostgain.diagnosis.match"), "sentence", sentence)
    read = readings(*taken("R6 open"))
    before = match(table, read, bench)
    after = match(split, read, Halved(**vars(bench)))
    assert probability(before, "R6", "open") > 0.1
    assert probability(after, "R6", "open", "open-too") == pytest.approx(probability(before, "R6", "open"), rel=1e-6)
    assert probability(after, "R6", "open") == pytest.approx(probability(after, "R6", "open-too"), rel=1e-6)


def seen_of(rows: list[Reading]) -> Observed:
    """Readings as numbers."""
    return observed(megaphone(), rows, instruments(None), "")


@pytest.mark.parametrize("label", ["", "C1 open", "R4 drift 2.5", "U1B dead"])
def test_a_rough_look_never_hides_what_is_likely(label: str) -> None:
    """What the exact look finds likely, the rough one finds among the first."""
    seen = seen_of(taken(label))
    found = hypotheses(megaphone(), seen.features)
    every = np.arange(len(found.fault))
    exact, rough = readings_likelihood(found, seen, "Port", every), rough_likelihood(found, seen, "Port")
    near = exact > exact.max() - 8
    assert np.all(rough[near] > rough.max() - 20)


def test_leaving_a_reading_out_agrees_with_not_having_it() -> None:
    rows = taken("C1 lost 0.01")[:9]
    seen = seen_of(rows)
    found = hypotheses(megaphone(), seen.features)
    without = rough_without_each(found, seen, "Port")
    plain = np.flatnonzero((found.first == found.second) & ~found.makers_affair & ~found.lost.any(axis=1))
    middle = found.mean[plain][:, seen.columns]
    spread = found.cov(plain, seen.columns, LOOSE) + seen.common.always + seen.noise
    for number in (0, 4, 8):
        rest = [index for index in range(9) if index != number]
        given_rest = gaussian(seen.value[rest], middle[:, rest], spread[:, rest][:, :, rest])
        assert without[plain, number] == pytest.approx(given_rest, rel=1e-4, abs=1e-3)


def test_what_could_not_be_simulated_counts_as_what_is_not_known() -> None:
    """A row without numbers is as likely as something else altogether, whatever was read."""
    table = megaphone()
    data = table.data.copy(deep=True)
    row = next(number for number, fault in enumerate(table.faults, 1) if fault.label == "R6 open")
    for name in ("level", "swing"):
        data[name][row] = np.nan
    lame = replace(table, data=data)
    odd = readings(*[level(point, 2.0) for point in ("J1 tip", "R2, left end", "R2, right end", "U1 pin 6")])
    verdict = match(lame, odd)
    blind = next(each for each in verdict.suspects if (each.part, each.mode) == ("R6", "open"))
    allow = allowances()
    anything = allow.prior_unexplained * (1 - allow.prior_stray)
    assert verdict.unexplained > 0.1
    assert blind.probability / verdict.unexplained == pytest.approx(blind.prior / anything, rel=0.05)
