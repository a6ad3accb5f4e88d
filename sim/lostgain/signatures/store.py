"""Where tables are kept, what they are keyed by, and how a build survives being stopped."""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
from dataclasses import fields
from pathlib import Path

import numpy as np
import platformdirs

from lostgain.circuit import Circuit
from lostgain.faults import Fault
from lostgain.faults.catalogue import catalogue_text
from lostgain.signatures.rows import RowResult

#: Raised whenever the same inputs would give other numbers than before.
METHOD = 1


def folder() -> Path:
    """Return the folder tables are kept in: ``LOSTGAIN_CACHE``, or the system's place for such files."""
    named = os.environ.get("LOSTGAIN_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("lostgain", appauthor=False))


def key_of(circuit: Circuit, faults: list[Fault], seed: int, draws: int, slow_draws: int) -> str:
    """Return the identifier of a table: a digest of all that its numbers come from.

    Parameters
    ----------
    circuit : Circuit
    faults : list of Fault
        The rows.
    seed, draws, slow_draws : int

    Returns
    -------
    str
        16 hexadecimal digits.
    """
    setup = circuit.unit.setup
    tolerances = [(name, place.part.tolerance, place.part.device) for name, place in circuit.parts.items()]
    models = [
        (name, repr(facts))
        for name, facts in sorted({place.part.device: place for place in circuit.parts.values()}.items(), key=str)
        if name
        for facts in [_device_facts(name)]
    ]
    content = [
        METHOD,
        circuit.version,
        circuit.flat.lines(),
        list(circuit.points.items()),
        [setup.generator, setup.start_dc, list(setup.frequencies)],
        tolerances,
        models,
        catalogue_text(),
        [repr(fault) for fault in faults],
        [seed, draws, slow_draws],
    ]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]


def _device_facts(name: str) -> str:
    from lostgain.unit.library import device

    facts = device(name)
    return repr((facts.netlist, facts.spreads))


class Journal:
    """Rows that are done, kept in a database until the table is whole; a build that is stopped goes on from it.

    Parameters
    ----------
    path : Path
        The database; made if it is not there, made anew if it is damaged.
    """

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self.path = path
        try:
            self._open()
        except sqlite3.DatabaseError:
            path.unlink(missing_ok=True)
            self._open()

    def _open(self) -> None:
        self._base = sqlite3.connect(self.path, timeout=30)
        self._base.execute("create table if not exists rows (number integer primary key, numbers blob)")
        self._base.commit()

    def done(self) -> dict[int, RowResult]:
        """Return the rows that are done."""
        return {number: _unpacked(blob) for number, blob in self._base.execute("select number, numbers from rows")}

    def add(self, number: int, row: RowResult) -> None:
        """Keep a row."""
        with self._base:
            self._base.execute("insert or replace into rows values (?, ?)", (number, _packed(row)))

    def close(self) -> None:
        """Close the database and leave it for the next run."""
        self._base.close()

    def remove(self) -> None:
        """Close and delete the database: the table is whole."""
        self._base.close()
        self.path.unlink(missing_ok=True)


def _packed(row: RowResult) -> bytes:
    buffer = io.BytesIO()
    arrays = {each.name: np.asarray(getattr(row, each.name)) for each in fields(row)}
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def _unpacked(blob: bytes) -> RowResult:
    with np.load(io.BytesIO(blob), allow_pickle=False) as found:
        numbers = {name: found[name] for name in found.files}
    status = str(numbers.pop("status"))
    return RowResult(**numbers, status=status)
