"""Where tables are kept, and what they are keyed by."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import platformdirs
from filelock import FileLock

from lostgain.circuit import Circuit, mains
from lostgain.circuit.model import balanced
from lostgain.faults import Fault, Stray
from lostgain.faults.catalogue import modes_for
from lostgain.problems import Problem, UserError, Where
from lostgain.signatures import bends, follow
from lostgain.signatures.controls import Turn
from lostgain.signatures.draws import CUT, LEFT, LEFT_DECADES, OPEN, OPEN_DECADES, deviates, varied
from lostgain.signatures.drift import DRIFT_SETTINGS
from lostgain.signatures.row_draws import LOUD_CYCLES, LOUDER, NEAR_CLIPPING
from lostgain.signatures.rows import QUICK
from lostgain.signatures.slow_draws import DRIFT_DRAWS
from lostgain.unit.library import device

#: Raised whenever the same inputs would give other numbers than before.
METHOD = 22
#: How circuits are followed in time, in numbers.
SOLVER = [*follow.SETTINGS, *DRIFT_SETTINGS, QUICK, NEAR_CLIPPING, LOUDER, LOUD_CYCLES, DRIFT_DRAWS, CUT, OPEN,
          OPEN_DECADES, LEFT, LEFT_DECADES]  # fmt: skip


def folder() -> Path:
    """Return the folder tables are kept in: ``LOSTGAIN_CACHE``, or the system's place for such files."""
    named = os.environ.get("LOSTGAIN_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("lostgain", appauthor=False))


def made_of(
    circuit: Circuit, faults: Sequence[Fault | Stray | Turn], seed: int, draws: int, slow_draws: int
) -> dict[str, Any]:
    """Return all that a table's numbers come from, by what a technician would call it.

    Parameters
    ----------
    circuit : Circuit
    faults : sequence of Fault, Stray or Turn
        The rows.
    seed, draws, slow_draws : int
    """
    setup = circuit.unit.setup
    numbers = varied(circuit)
    z = deviates(draws, len(numbers), seed)
    used = sorted({place.part.device for place in circuit.parts.values() if place.part.device})
    kinds = sorted({place.part.kind for place in circuit.parts.values()})
    levels = {"further levels": list(setup.levels)} if setup.levels else {}
    both_legs = {"both legs": setup.common} if balanced(circuit.flat) else {}
    return (
        levels
        | both_legs
        | {
            "severities between": bends.SETTINGS,
            "method": METHOD,
            "ngspice": circuit.version,
            "circuit": circuit.flat.lines(),
            "test points": list(circuit.points.items()),
            "set-up": [setup.generator, setup.start_dc, list(setup.frequencies)],
            "part tolerances": [
                (name, place.part.tolerance, place.part.device) for name, place in circuit.parts.items()
            ],
            "device classes": [(name, repr((device(name).netlist, device(name).spreads))) for name in used],
            # Only the kinds of part this unit has: a new kind leaves other units' tables alone.
            "failure modes": [[kind, mode.name, repr(mode.edits)] for kind in kinds for mode in modes_for(kind)],
            "solver": SOLVER,
            **({"supply": [repr(circuit.unit.feed), *mains.METHOD]} if circuit.unit.supplies else {}),
            "faults": [repr(fault) for fault in faults],
            # The draws themselves, since another version of SciPy may give others for the same seed.
            "draws": [seed, draws, slow_draws, hashlib.sha256(z.tobytes()).hexdigest()],
        }
    )


def key_of(content: Mapping[str, Any]) -> str:
    """Return the identifier of what a table is `made_of`: 16 hexadecimal digits."""
    return _digest(content)[:16]


def named_digests(content: Mapping[str, Any]) -> dict[str, str]:
    """Return a digest of each thing a table is `made_of`, by its name: what differs between two tables can be told."""
    return {name: _digest(each)[:16] for name, each in content.items()}


def _digest(content: Any) -> str:
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Let one process at a time build the table at a path; others wait.

    Raises
    ------
    UserError
        If nothing can be written there.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = FileLock(path.with_suffix(".lock"))
        lock.acquire()
    except OSError as error:
        raise cannot_keep(path, error) from error
    try:
        yield
    finally:
        lock.release()


def cannot_keep(path: Path, error: Exception) -> UserError:
    """Return what to say where a table cannot be written."""
    why = getattr(error, "strerror", None) or str(error)
    return UserError(
        Problem(
            f"the signature table cannot be kept here: {why}.",
            Where(path.parent),
            "Set LOSTGAIN_CACHE to a folder that may be written and has room.",
        )
    )
