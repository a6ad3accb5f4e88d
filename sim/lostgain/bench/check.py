"""What a unit holds, proved: the answer to whether its description can be relied on."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain.bench.cautions import Caution, cautions
from lostgain.circuit import Circuit, build, prove_running
from lostgain.engine import Pool
from lostgain.faults import listing
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
    cautions : tuple of Caution
    """

    unit: Unit
    circuit: Circuit
    holds: Summary
    faults: int
    rows: int
    cautions: tuple[Caution, ...]


def check(unit: Unit, pool: Pool | None = None) -> Check:
    """Build a unit, prove that its healthy circuit runs, and list what it holds.

    Parameters
    ----------
    unit : Unit
    pool : Pool or None
        Workers to use; started if needed.

    Raises
    ------
    UserError
        With every mistake found.
    """
    if pool is None:
        with Pool(workers=2) as own:
            return check(unit, own)
    circuit = build(unit, pool)
    prove_running(circuit, pool)
    rows = listing(circuit)
    faults = len({(fault.part, fault.mode) for fault in rows})
    return Check(unit, circuit, summary(unit), faults, len(rows), tuple(cautions(unit)))
