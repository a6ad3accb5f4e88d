"""What a unit holds, proved: the answer to whether its description can be relied on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from lostgain.bench.cautions import Caution, cautions
from lostgain.bench.healthy import across_load
from lostgain.bench.printed import Trial, compare_printed, followed
from lostgain.bench.printed_model import PrintedReport
from lostgain.circuit.build import build
from lostgain.circuit.model import Circuit
from lostgain.circuit.running import prove_running
from lostgain.engine import Pool
from lostgain.faults.listing import listing
from lostgain.unit.model import Unit
from lostgain.unit.summary import Summary, summary


@dataclass(frozen=True)
class Check:
    """A unit that can be built and runs.

    Parameters
    ----------
    unit : Unit
    circuit : Circuit
    holds : Summary
    faults : int
        Failures that are predicted: parts and modes, clusters included, of one channel.
    rows : int
        The same with each severity counted: rows of the signature table, the healthy one apart.
    printed : PrintedReport
        The values printed in the unit file beside the simulated ones, and slips that would explain a difference.
    cautions : tuple of Caution
    """

    unit: Unit
    circuit: Circuit
    holds: Summary
    faults: int
    rows: int
    printed: PrintedReport
    cautions: tuple[Caution, ...]


def check(unit: Unit, pool: Pool | None = None, progress: Callable[[int, int], None] | None = None) -> Check:
    """Build a unit, prove that its healthy circuit runs, compare it with printed values, and list what it holds.

    Parameters
    ----------
    unit : Unit
    pool : Pool or None
        Workers to use; started if needed.
    progress : callable or None
        Called with slips tried and slips in all, where printed values do not agree.

    Raises
    ------
    UserError
        With every mistake found.
    """
    if pool is None:
        with Pool(workers=2) as own:
            return check(unit, own, progress)
    circuit = build(unit, pool)
    prove_running(circuit, pool)
    rows = listing(circuit)
    faults = len({(fault.part, fault.mode) for fault in rows})
    printed = compare_printed(circuit, pool, progress=progress)
    warned = tuple(cautions(unit, _output_level(circuit, pool)))
    return Check(unit, circuit, summary(unit), faults, len(rows), printed, warned)


def _output_level(circuit: Circuit, pool: Pool) -> float | None:
    """Return the healthy level across the load at drive and middle frequency of the set-up [V rms]; None if unknown."""
    setup = circuit.unit.setup
    trial = Trial(circuit.flat, setup.generator, setup.frequencies[0], setup.start_dc, (circuit.output,))
    outcome = pool.map(followed, [trial])[0]
    level = math.nan if outcome.error is not None else float(outcome.value[1][0]) * across_load(circuit)
    return level if math.isfinite(level) else None
