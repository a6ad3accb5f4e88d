"""Where tables are kept, and what they are keyed by."""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import platformdirs
from filelock import FileLock

from lostgain.circuit import Circuit
from lostgain.faults import Fault, Stray
from lostgain.faults.catalogue import modes_for
from lostgain.problems import Problem, UserError, Where
from lostgain.signatures import steady
from lostgain.signatures.draws import CUT, deviates, varied
from lostgain.signatures.rows import QUICK
from lostgain.unit.library import device

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

#: The class of what a journal keeps: arrays, and a text called ``status``.
Row = TypeVar("Row", bound="DataclassInstance")

#: Raised whenever the same inputs would give other numbers than before.
METHOD = 11
#: How circuits are followed in time, in numbers.
SOLVER = [
    steady.CYCLES, steady.AGREE_DB, steady.QUIET, steady.STEPS_A_CYCLE, steady.SOLVER, steady.PATIENT, QUICK, CUT,
]  # fmt: skip


def folder() -> Path:
    """Return the folder tables are kept in: ``LOSTGAIN_CACHE``, or the system's place for such files."""
    named = os.environ.get("LOSTGAIN_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("lostgain", appauthor=False))


def made_of(
    circuit: Circuit, faults: Sequence[Fault | Stray], seed: int, draws: int, slow_draws: int
) -> dict[str, Any]:
    """Return all that a table's numbers come from, by what a technician would call it.

    Parameters
    ----------
    circuit : Circuit
    faults : sequence of Fault or Stray
        The rows.
    seed, draws, slow_draws : int
    """
    setup = circuit.unit.setup
    numbers = varied(circuit)
    z = deviates(draws, len(numbers), seed)
    used = sorted({place.part.device for place in circuit.parts.values() if place.part.device})
    kinds = sorted({place.part.kind for place in circuit.parts.values()})
    return {
        "method": METHOD,
        "ngspice": circuit.version,
        "circuit": circuit.flat.lines(),
        "test points": list(circuit.points.items()),
        "set-up": [setup.generator, setup.start_dc, list(setup.frequencies)],
        "part tolerances": [(name, place.part.tolerance, place.part.device) for name, place in circuit.parts.items()],
        "device classes": [(name, repr((device(name).netlist, device(name).spreads))) for name in used],
        # Only the kinds of part this unit has: a new kind leaves other units' tables alone.
        "failure modes": [[kind, mode.name, repr(mode.edits)] for kind in kinds for mode in modes_for(kind)],
        "solver": SOLVER,
        "faults": [repr(fault) for fault in faults],
        # The draws themselves, since another version of SciPy may give others for the same seed.
        "draws": [seed, draws, slow_draws, hashlib.sha256(z.tobytes()).hexdigest()],
    }


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


class Journal:
    """Rows that are done, kept in a database until the table is whole; a build that is stopped goes on from it.

    Parameters
    ----------
    path : Path
        The database; made if it is not there, made anew if it is damaged or another table's.
    key : str
        Identifier of the table.

    Raises
    ------
    UserError
        If nothing can be written there.
    """

    def __init__(self, path: Path, key: str) -> None:
        self.path = path
        self.key = key
        try:
            self._base = sqlite3.connect(path, timeout=30)
            try:
                self._open()
            except sqlite3.DatabaseError:
                self.remove()
                self._base = sqlite3.connect(path, timeout=30)
                self._open()
        except (OSError, sqlite3.Error) as error:
            raise cannot_keep(path, error) from error

    def _open(self) -> None:
        with self._base:
            self._base.execute("create table if not exists rows (number integer primary key, numbers blob)")
            self._base.execute("create table if not exists about (key text)")
            found = [key for (key,) in self._base.execute("select key from about")]
            if found != [self.key]:
                self._base.execute("delete from rows")
                self._base.execute("delete from about")
                self._base.execute("insert into about values (?)", (self.key,))

    def done(self, like: Row) -> dict[int, Row]:
        """Return the rows that are done and whole, of the class of one like them and as large."""
        rows: dict[int, Row] = {}
        for number, blob in self._base.execute("select number, numbers from rows"):
            row = _unpacked(blob, type(like))
            if row is not None and all(
                np.shape(getattr(row, each.name)) == np.shape(getattr(like, each.name)) for each in fields(like)
            ):
                rows[int(number)] = row
        return rows

    def add(self, number: int, row: DataclassInstance) -> None:
        """Keep a row."""
        try:
            with self._base:
                self._base.execute("insert or replace into rows values (?, ?)", (number, _packed(row)))
        except sqlite3.Error as error:
            raise cannot_keep(self.path, error) from error

    def close(self) -> None:
        """Close the database and leave it for the next run."""
        self._base.close()

    def remove(self) -> None:
        """Close and delete the database: the table is whole, or the database is not."""
        self._base.close()
        self.path.unlink(missing_ok=True)
        self.path.with_name(f"{self.path.name}-journal").unlink(missing_ok=True)


def _packed(row: DataclassInstance) -> bytes:
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {each.name: np.asarray(getattr(row, each.name)) for each in fields(row)}
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def _unpacked(blob: object, kind: type[Row]) -> Row | None:
    """Return a row of a class, or None for what is none."""
    if not isinstance(blob, bytes):
        return None
    try:
        with np.load(io.BytesIO(blob), allow_pickle=False) as found:
            numbers: dict[str, Any] = {name: found[name] for name in found.files}
        numbers["status"] = str(numbers["status"])
        return kind(**numbers)
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile, zlib.error):
        return None
