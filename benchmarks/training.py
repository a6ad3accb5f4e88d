"""Samples for the references: every part and mode as often, weighted by the prior."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchmarks.cases import TOO_LONG, Case, make, sheet, simulated
from benchmarks.process import process
from benchmarks.references import HEALTHY, Samples, features
from benchmarks.truth import Prior
from lostgain.engine import Pool
from lostgain.readings import instruments

Progress = Callable[[int, int], None]

#: Circuits of each mode that are followed in time first; where small-signal analysis gives the same for all of them, it
#: serves for the rest of the mode.
PROBED = 3
#: Where a bias drifts, so that the generator has to be left on, a circuit takes up to a minute or two: of such a mode
#: there are a quarter as many, but two at least.
SCARCE = 4
#: Times each circuit is read, with other instruments.
DRAWS = 3
#: Seeds of training circuits begin here, so that no case is among them.
FIRST = 1_000_000


def samples(prior: Prior, seed: int, each: int, healthy: int, pool: Pool, progress: Progress | None = None) -> Samples:
    """Simulate training samples.

    Parameters
    ----------
    prior : Prior
    seed : int
    each : int
        Circuits of each part and mode; three times as many where it has a severity.
    healthy : int
        Healthy circuits.
    pool : Pool
    progress : callable or None
    """
    asked = {-1: healthy}
    for number, fault in enumerate(prior.modes):
        asked[number] = each * (3 if fault.severity is not None else 1)
    many = dict(asked)
    found: dict[int, list[Case]] = {mode: [] for mode in many}

    def simulate(wanted: dict[int, int], in_time: dict[int, bool]) -> None:
        """Add circuits of each mode until there are as many as wanted."""
        new = {mode: [_case(prior, seed, mode, count, in_time[mode]) for count in range(len(found[mode]), size)]
               for mode, size in wanted.items()}  # fmt: skip
        before = sum(map(len, found.values()))
        total = sum(max(size, len(found[mode])) for mode, size in many.items())
        tell = None if progress is None else lambda done, _: progress(before + done, total)
        simulated([case for cases in new.values() for case in cases], prior.circuit, pool, tell)
        for mode, cases in new.items():
            found[mode] += cases

    def make_scarce() -> None:
        for mode, cases in found.items():
            if mode >= 0 and any(_long(case) for case in cases):
                many[mode] = min(asked[mode], max(2, asked[mode] // SCARCE))

    always = dict.fromkeys(many, True)
    simulate(dict.fromkeys(many, 1), always)
    make_scarce()
    simulate({mode: min(PROBED, size) for mode, size in many.items()}, always)
    make_scarce()
    simulate(many, {mode: not _confirmed(prior, cases) for mode, cases in found.items()})
    pairs = [(case, mode) for mode, cases in found.items() for case in cases]
    return _read(prior, [case for case, _ in pairs], [mode for _, mode in pairs])


def _long(case: Case) -> bool:
    """Whether a circuit was left on, or took longer than it may."""
    return case.carried is not None and (case.carried.waited > 0 or TOO_LONG in case.carried.status)


def _confirmed(prior: Prior, cases: list[Case]) -> bool:
    """Whether small-signal analysis gave of all circuits what following them in time did."""
    unit = prior.circuit.unit
    floor = instruments(unit.folder)[unit.setup.instrument].floor_level
    within = process()["simulation"]["agree_db"]
    return all(case.carried is not None and case.carried.confirmed(within, floor) for case in cases)


def _case(prior: Prior, seed: int, mode: int, count: int, in_time: bool) -> Case:
    if mode < 0:
        return make(prior, "healthy", (FIRST + seed, count), in_time=in_time)
    return make(prior, "fault", (FIRST + seed, mode, count), mode, in_time)


def _read(prior: Prior, cases: list[Case], modes: list[int]) -> Samples:
    """Read each circuit `DRAWS` times; those that could not be simulated are left out."""
    circuit = prior.circuit
    rows = []
    for number, (case, mode) in enumerate(zip(cases, modes, strict=True)):
        found = case.carried
        if found is not None and not case.job.cycles:
            found.level, found.swing = found.small, found.small * 8**0.5
        if not case.usable or found is None or not np.isfinite(found.level).all():
            continue
        fault = case.truth.fault
        level = np.nan if fault is None or fault.severity is None else fault.severity
        for draw in range(DRAWS):
            x = features(circuit, sheet(circuit, case, draw).rows)
            rows.append((x, fault.part if fault else HEALTHY, mode, level, number))
    x, part, mode_of, severity, number_of = (np.array(column) for column in zip(*rows, strict=True))
    healthy = process()["mix"]["healthy"]
    share = np.where(mode_of < 0, healthy, (1 - healthy) * prior.shares[np.maximum(mode_of, 0)])
    many = {int(mode): int((mode_of == mode).sum()) for mode in np.unique(mode_of)}
    return Samples(x, part, mode_of, severity, share / np.array([many[int(m)] for m in mode_of]), number_of)
