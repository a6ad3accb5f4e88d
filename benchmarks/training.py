"""Samples for the references: every part and mode as often, weighted by the prior."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchmarks.cases import Case, make, sheet, simulated
from benchmarks.process import process
from benchmarks.references import HEALTHY, Samples, features
from benchmarks.truth import Prior
from lostgain.engine import Pool
from lostgain.readings import instruments

Progress = Callable[[int, int], None]

#: Circuits of each mode that are followed in time first; where small-signal analysis gives the same for all of them, it
#: serves for the rest of the mode.
PROBED = 3
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
    circuit = prior.circuit
    wanted: list[tuple[int, int]] = [(-1, healthy)]
    for number, fault in enumerate(prior.modes):
        wanted.append((number, each * (3 if fault.severity is not None else 1)))
    probes = [_case(prior, seed, mode, count, True) for mode, many in wanted for count in range(min(PROBED, many))]
    rest = sum(max(0, many - PROBED) for _, many in wanted)
    total = len(probes) + rest
    simulated(probes, circuit.version, pool, None if progress is None else lambda n, _: progress(n, total))
    floor = instruments(circuit.unit.folder)[circuit.unit.setup.instrument].floor_level
    within = process()["simulation"]["agree_db"]
    confirmed: dict[int, bool] = {}
    for (mode, _), probe in zip(((m, c) for m, many in wanted for c in range(min(PROBED, many))), probes, strict=True):
        good = probe.carried is not None and probe.carried.confirmed(within, floor)
        confirmed[mode] = confirmed.get(mode, True) and good
    others = [
        _case(prior, seed, mode, count, not confirmed[mode]) for mode, many in wanted for count in range(PROBED, many)
    ]
    simulated(
        others, circuit.version, pool, None if progress is None else lambda n, _: progress(len(probes) + n, total)
    )
    modes = [m for m, many in wanted for _ in range(min(PROBED, many))]
    modes += [m for m, many in wanted for _ in range(PROBED, many)]
    return _read(prior, [*probes, *others], modes)


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
