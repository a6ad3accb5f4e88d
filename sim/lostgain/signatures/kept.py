"""Finished rows, kept in a database: a build that was stopped goes on from them, and other tables share them."""

from __future__ import annotations

import io
import sqlite3
import time
import zipfile
import zlib
from collections.abc import Callable, Collection
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from lostgain.signatures.store import cannot_keep

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

#: The class of what is kept: arrays, and a text called ``status``.
Row = TypeVar("Row", bound="DataclassInstance")
Result = TypeVar("Result")

#: Rows that were not used for longest go out when all together take more than this [byte].
ROOM = 4 << 30
#: What SQLite says of a file that is no database, a damaged one, or one with other tables in it.
DAMAGED = ("SQLITE_NOTADB", "SQLITE_CORRUPT", "SQLITE_ERROR")


class Kept:
    """A database of finished rows, of all units.

    A row's key is a digest of all that its numbers come from, so that what is found under it is the row wanted,
    whatever table it was made for. Several processes may use the database at once.

    Parameters
    ----------
    path : Path
        The database; made if it is not there, made anew if it is damaged.

    Raises
    ------
    UserError
        If nothing can be written there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._do(self._open)

    def _do(self, action: Callable[[], Result]) -> Result:
        """Do something with the database; once more with a new one where it is damaged."""
        try:
            try:
                return action()
            except sqlite3.Error as error:
                if error.sqlite_errorname not in DAMAGED:
                    raise
                self._remove()
                self._open()
                return action()
        except (OSError, sqlite3.Error) as error:
            raise cannot_keep(self.path, error) from error

    def _open(self) -> None:
        self._base = sqlite3.connect(self.path, timeout=60)
        self._base.execute("pragma synchronous = normal")
        with self._base:
            self._base.execute("create table if not exists rows (key text primary key, numbers blob)")
            # Apart, since a change rewrites all of a line.
            self._base.execute("create table if not exists uses (key text primary key, used real) without rowid")
        self._base.execute("select rows.key, numbers, used from rows, uses limit 1").fetchall()

    def _remove(self) -> None:
        self._base.close()
        self.path.unlink(missing_ok=True)
        self.path.with_name(f"{self.path.name}-journal").unlink(missing_ok=True)

    def find(self, keys: Collection[str], like: Row) -> dict[str, Row]:
        """Return those of some rows that are here and whole.

        Parameters
        ----------
        keys : collection of str
        like : RowResult
            A row of their class, and as large as they have to be.
        """
        shapes = {each.name: np.shape(getattr(like, each.name)) for each in fields(like)}

        def found() -> dict[str, Row]:
            rows: dict[str, Row] = {}
            for key in keys:
                for (blob,) in self._base.execute("select numbers from rows where key = ?", (key,)):
                    row = _unpacked(blob, key, type(like))
                    if row is not None and all(np.shape(getattr(row, name)) == size for name, size in shapes.items()):
                        rows[key] = row
            with self._base:
                now = time.time()
                self._base.executemany("insert or replace into uses values (?, ?)", [(key, now) for key in rows])
            return rows

        return self._do(found)

    def add(self, key: str, row: DataclassInstance) -> None:
        """Keep a row."""
        packed = _packed(row, key)

        def add() -> None:
            with self._base:
                self._base.execute("insert or replace into rows values (?, ?)", (key, packed))
                self._base.execute("insert or replace into uses values (?, ?)", (key, time.time()))

        self._do(add)

    def trim(self, room: int = ROOM) -> int:
        """Throw out the rows not used for longest, if all take more than some room [byte]; return how many."""
        gone = 0
        try:
            while self._taken() > room:
                with self._base:
                    oldest = self._base.execute("select key from uses order by used limit 100").fetchall()
                    count = self._base.executemany("delete from uses where key = ?", oldest).rowcount
                    self._base.executemany("delete from rows where key = ?", oldest)
                if not count:
                    break
                gone += count
        except sqlite3.Error:
            pass  # another process is at it, or will be
        return gone

    def _taken(self) -> int:
        """Return the room that rows take [byte]: pages that are free are used again before the file grows."""
        pages, free, size = (
            int(self._base.execute(f"pragma {name}").fetchone()[0])
            for name in ("page_count", "freelist_count", "page_size")
        )
        return (pages - free) * size

    def close(self) -> None:
        """Close the database."""
        self._base.close()


def _packed(row: DataclassInstance, key: str) -> bytes:
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {each.name: np.asarray(getattr(row, each.name)) for each in fields(row)}
    np.savez(buffer, key=np.asarray(key), **arrays)
    return buffer.getvalue()


def _unpacked(blob: object, key: str, kind: type[Row]) -> Row | None:
    """Return a row of a class, or None for what is none, or another."""
    if not isinstance(blob, bytes):
        return None
    try:
        with np.load(io.BytesIO(blob), allow_pickle=False) as found:
            numbers: dict[str, Any] = {name: found[name] for name in found.files}
        if str(numbers.pop("key")) != key:
            return None
        numbers["status"] = str(numbers["status"])
        return kind(**numbers)
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile, zlib.error):
        return None
