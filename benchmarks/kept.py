"""Simulations done before, by the content of what was simulated, so that none is done twice.

They are in a file of the computer's own, as they are done, and in one beside this code for each unit that was stored:
simulating a large unit's repairs takes a computer an hour or two, and matching them a few minutes.
"""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import sqlite3
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

import numpy as np
import platformdirs

from benchmarks.process import process
from benchmarks.simulate import Carried, Job, job
from lostgain.circuit import Circuit
from lostgain.problems import Problem, UserError, Where

#: Raised whenever the same netlist would give other numbers than before, or more of them.
METHOD = 5
#: Where stored units are: NAME.npz.
STORED = Path(__file__).with_name("stored")


def folder() -> Path:
    """Return where simulations are kept: ``LOSTGAIN_BENCH_CACHE``, or beside the signature tables."""
    named = os.environ.get("LOSTGAIN_BENCH_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("lostgain", appauthor=False)) / "bench"


def key_of(version: int, task: Job) -> str:
    """Return the identifier of a simulation: a digest of all that its numbers come from."""
    return hashlib.sha256(json.dumps([METHOD, version, vars(task)]).encode()).hexdigest()[:24]


def group_of(circuit: Circuit) -> str:
    """Return what all simulations of a unit have in common: its nominal circuit, and the process of the repairs."""
    nominal = key_of(circuit.version, job(circuit, circuit.flat, 1.0, process()["simulation"], in_time=True))
    return hashlib.sha256(json.dumps([nominal, process()]).encode()).hexdigest()[:24]


class Kept:
    """Simulations of one unit done before.

    Parameters
    ----------
    circuit : Circuit
    path : Path or None
        An SQLite file, made if it is not there; the computer's own if None.
    stored : Path or None
        Folder of what is beside the code; the one of this code if None.

    Raises
    ------
    UserError
        What is beside the code can't be read.
    """

    def __init__(self, circuit: Circuit, path: Path | None = None, stored: Path | None = None) -> None:
        self.group = group_of(circuit)
        self._file = (stored or STORED) / f"{circuit.unit.name}.npz"
        self._stored = _read(self._file, self.group)
        path = path or folder() / "circuits.sqlite"
        path.parent.mkdir(parents=True, exist_ok=True)
        self._base = sqlite3.connect(path, timeout=60)
        self._base.execute("create table if not exists carried (key text primary key, unit text, found blob)")

    def get(self, key: str) -> Carried | None:
        """Return a simulation, or None."""
        row = self._base.execute("select found from carried where key = ?", (key,)).fetchone()
        return self._stored.get(key) if row is None else Carried(**pickle.loads(row[0]))

    def add(self, key: str, found: Carried) -> None:
        """Keep a simulation."""
        row = (key, self.group, pickle.dumps(vars(found)))
        with self._base:
            self._base.execute("insert or replace into carried values (?, ?, ?)", row)

    def store(self) -> tuple[Path, int]:
        """Put all of this unit's simulations beside the code; return the file, and how many it holds."""
        rows = self._base.execute("select key, found from carried where unit = ?", (self.group,))
        found = self._stored | {key: Carried(**pickle.loads(blob)) for key, blob in rows}
        self._file.parent.mkdir(parents=True, exist_ok=True)
        part = self._file.with_suffix(".part")
        with part.open("wb") as file:
            np.savez_compressed(file, allow_pickle=False, **_packed(self.group, dict(sorted(found.items()))))
        part.replace(self._file)  # a stopped run leaves no half of a file
        return self._file, len(found)

    def close(self) -> None:
        """Close the file."""
        self._base.close()


def store(circuit: Circuit) -> tuple[Path, int]:
    """Put all simulations of a unit beside the code; return the file, and how many it holds.

    Raises
    ------
    UserError
        What is there already can't be read.
    """
    with closing(Kept(circuit)) as kept:
        return kept.store()


def _packed(group: str, found: Mapping[str, Carried]) -> dict[str, np.ndarray]:
    """Return simulations as a few arrays: all numbers in one row, and how many points and frequencies each has."""
    each = list(found.values())
    numbers = [part.ravel() for one in each for part in (one.dc, one.small, one.level, one.swing)]
    return {
        "group": np.array(group),
        "key": np.array(list(found), dtype="U24"),
        "size": np.array([one.small.shape for one in each], dtype=np.int32).reshape(-1, 2),
        "numbers": np.concatenate([np.empty(0), *numbers]).astype(np.float32),
        "settled": np.concatenate([np.empty(0, dtype=bool), *(one.settled for one in each)]),
        "status": np.array([one.status for one in each], dtype=np.str_),
        "waited": np.array([one.waited for one in each]),
    }


def _read(file: Path, group: str) -> dict[str, Carried]:
    """Read a stored unit; nothing if it is not there, or of another circuit or process."""
    if not file.exists():
        return {}
    try:
        with np.load(file) as arrays:
            return dict(_unpacked(dict(arrays))) if str(arrays["group"]) == group else {}
    except (OSError, EOFError, ValueError, KeyError, IndexError, zipfile.BadZipFile) as error:
        says = "expected what `scripts/bench store` writes; delete it, or take it from the repository again"
        raise UserError(Problem(says, Where(file))) from error


def _unpacked(arrays: Mapping[str, np.ndarray]) -> Iterator[tuple[str, Carried]]:
    at = column = 0
    for number, (points, frequencies) in enumerate(arrays["size"].tolist()):
        many = points * frequencies
        end = at + points + 3 * many
        flat = arrays["numbers"][at:end].astype(float)
        small, level, swing = flat[points:].reshape(3, points, frequencies)
        settled = arrays["settled"][column : column + frequencies]
        status, waited = str(arrays["status"][number]), float(arrays["waited"][number])
        yield str(arrays["key"][number]), Carried(flat[:points], small, level, swing, settled, status, waited)
        at, column = end, column + frequencies
