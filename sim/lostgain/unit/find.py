"""Where units are: a folder, a unit file, or one of those shipped."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import NamedTuple

from lostgain import shipped
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit import sorts
from lostgain.unit.names import own_file, read_text
from lostgain.unit.sorts import UNIT_FILE

_ELSEWHERE = {
    sorts.READINGS: "Readings come after the unit: lostgain match UNIT READINGS.",
    sorts.NETLIST: "A unit file names its netlists; start one beside it.",
}


class Found(NamedTuple):
    """A unit that could be opened.

    Parameters
    ----------
    name : str
        What it is opened by: its folder's name.
    title : str
        Empty where its file can't be read.
    path : Path
        The unit file.
    shipped : bool
    """

    name: str
    title: str
    path: Path
    shipped: bool


def find_units(folder: Path | None = None) -> list[Found]:
    """Return the units shipped, and those in a folder: the folder itself, and each folder in it, with a ``unit.toml``.

    Parameters
    ----------
    folder : Path or None
        None for the shipped ones only.
    """
    units = _in(shipped.folder() / "units", True)
    if folder is not None:
        known = {unit.path.resolve() for unit in units}
        units += [unit for unit in _in(folder, False) if unit.path.resolve() not in known]
    return units


def _in(folder: Path, is_shipped: bool) -> list[Found]:
    try:
        inner = sorted(place for place in folder.iterdir() if place.is_dir())
    except OSError:
        return []
    files = [place / UNIT_FILE for place in (folder, *inner)]
    return [Found(file.parent.resolve().name, _title(file), file, is_shipped) for file in files if file.is_file()]


def _title(file: Path) -> str:
    """Return a unit's title; empty where its file can't be read, which opening it will say."""
    try:
        return str(tomllib.loads(read_text(file))["unit"]["title"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""


def unit_file(name_or_path: str | Path) -> Path:
    """Return the unit file of a unit's folder, of a unit file, or of the name of a shipped unit.

    Raises
    ------
    UserError
        If there is none.
    """
    text = str(name_or_path)
    if not text.strip() or "\0" in text:
        raise UserError("say which unit: its folder, its unit file, or the name of one that is shipped.")
    path = Path(name_or_path)
    try:
        if path.is_dir():
            if file := _own(path):
                return file
            raise UserError(Problem(f"the folder has no {UNIT_FILE}.", Where(path), _other_files(path)))
        if path.exists():
            if (sort := sorts.sort_of(path)) in _ELSEWHERE:
                wanted = "a unit is wanted here: its folder, its unit file, or the name of a shipped one"
                raise UserError(Problem(f"this is {sort}; {wanted}.", Where(path), _ELSEWHERE[sort]))
            return path
    except OSError:
        pass  # too long for a path, for one: then it can only be a wrong name
    shipped_units = {unit.name: unit.path for unit in find_units(None)}
    if text in shipped_units:
        return shipped_units[text]
    here = {str(unit.path.parent) for unit in find_units(Path.cwd())} if not isinstance(name_or_path, Path) else set()
    known = {*shipped_units, *(Path(place).name for place in here)}
    short = text if len(text) <= 80 else f"{text[:77]}…"
    message = f"there is no unit “{short}”: no folder, no unit file, no shipped unit."
    raise UserError(Problem(message, meant=nearest(short, known)))


def _own(folder: Path) -> Path | None:
    """Return the unit file of a folder; None where it has none."""
    try:
        file = own_file(folder, UNIT_FILE)
    except ValueError as error:
        raise UserError(Problem(f"the file {error}.", Where(folder / UNIT_FILE))) from None
    return file if file is not None and file.is_file() else None


def _other_files(folder: Path) -> str:
    """Return a hint at a unit file of another name."""
    others = sorted(file.name for file in folder.glob("*.toml"))
    return f"Is it {others[0]}? Give its path." if len(others) == 1 else ""
