"""A TOML file of the user's: its data, the line of every key, and the mistakes found in it."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.names import own_file, read_text
from lostgain.unit.positions import KeyPath, Positions

#: Mistakes named one by one; a file with more is better mended from the top.
MOST_SHOWN = 100

#: Longest line that is read [characters], most lines, steps of a key and digits of a number: the time tomllib takes for
#: a line, and what is noted of a key, grow with the square.
_LONGEST_LINE = 10_000
MOST_LINES = 20_000
_MOST_STEPS = 20
_MOST_DIGITS = 400
_LONG_KEY = re.compile(rf"""(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){{{_MOST_STEPS}}}""", re.ASCII)

#: From this similarity on, a key that is none is taken for one that is missing: higher than for a guess, since what
#: it says is then read.
_ALIKE = 0.75


class Source:
    """A TOML file and what is wrong with it.

    Parameters
    ----------
    file : Path
        The file; it is read at once.

    Raises
    ------
    UserError
        If it can't be read or is no TOML. Later mistakes are collected, see `wrong` and `settle`.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self._as_written: dict[str, str] = {}
        try:
            text = read_text(file).replace("\r\n", "\n")
        except ValueError as error:
            raise UserError(Problem(f"the file {error}.", Where(file))) from None
        if problem := _too_much(text.split("\n"), file):
            raise UserError(problem)
        try:
            self.data: dict[str, Any] = tomllib.loads(text)
            self._positions = Positions(text)
        except RecursionError:
            raise UserError(Problem("the file nests its brackets too deeply.", Where(file))) from None
        except ValueError as error:  # TOMLDecodeError, and numbers too long for Python
            found = re.search(r" \(at line (\d+), column \d+\)", str(error))
            where = Where(file, int(found[1]) if found else None)
            message = tidy(f"the file is not TOML: {error}.")
            raise UserError(Problem(message, where, _toml_hint(str(error)))) from None

    def where(self, *path: str | int) -> Where:
        """Return the place of a key path in the file."""
        if path and path[0] in self._as_written and path not in self._positions.lines:
            path = (self._as_written[str(path[0])], *path[1:])
        return Where(self.file, self._positions.line(path))

    def respell(self, sections: Iterable[str]) -> None:
        """Note each section that is none but comes near to one that is missing, and read it as that one.

        Else everything in it would be missed, and each thing missed be a mistake of its own.
        """
        known = list(sections)
        for written in [key for key in self.data if key not in known]:
            found, meant = self.data[written], _near(written, known)
            there = self.data.get(meant, {})  # [setup] is there, without its own keys, where [setup.controls] is
            if not meant or not isinstance(there, dict) or not isinstance(found, (dict, list)):
                continue
            self.wrong((written,), f"a unit file has no [{written}].", f"Did you mean {meant}?")
            self._as_written[meant] = written
            self.data[meant] = _together(found, there)
            del self.data[written]

    def wrong(self, path: KeyPath, message: str, meant: str = "") -> None:
        """Note a mistake at a key path."""
        self.problems.append(Problem(tidy(message), self.where(*path), meant))

    def settle(self) -> None:
        """Raise UserError with every mistake noted, in the order of the files, if there is one."""
        if self.problems:
            unique = list(dict.fromkeys(self.problems))
            unique.sort(key=lambda problem: (problem.where.file != self.file, problem.where.line or 0))
            if len(unique) > MOST_SHOWN:
                more = Problem(f"and {len(unique) - MOST_SHOWN} more mistakes.", Where(self.file))
                unique = [*unique[:MOST_SHOWN], more]
            raise UserError(unique)


def own_source(folder: Path, name: str) -> Source | None:
    """Return a file that a unit's folder may hold besides its unit file; None where it has none.

    Raises
    ------
    UserError
        If it can't be read, is no TOML, or is a link.
    """
    try:
        file = own_file(folder, name)
    except ValueError as error:
        raise UserError(Problem(f"the file {error}.", Where(folder / name))) from None
    return Source(file) if file is not None else None


class Table:
    """One table of a file, whose keys are taken one by one; a key that nobody took is a mistake.

    Parameters
    ----------
    source : Source
    path : tuple
        Where it is in the file.
    called : str
        What it is called in messages: ``[setup]``.
    """

    def __init__(self, source: Source, path: KeyPath, called: str, data: Any = None) -> None:
        self.source, self.path, self.called = source, path, called
        self.data: Mapping[str, Any] = {}
        if isinstance(data, dict):
            self.data = data
        elif data is not None:
            source.wrong(path, f"{called} should be a table, not {shown(data)}.")
        self.taken: set[str] = set()

    def where(self, key: str | None = None) -> Where:
        """Return the place of a key, or of the table."""
        return self.source.where(*self.path, *(() if key is None else (key,)))

    def wrong(self, key: str | None, message: str, meant: str = "") -> None:
        """Note a mistake at a key, or at the table."""
        self.source.wrong(self.path if key is None else (*self.path, key), message, meant)

    def get(self, key: str, sort: type | tuple[type, ...], expected: str, default: Any = None) -> Any:
        """Return a value of the sort expected, or the default where it is missing or of another sort."""
        self.taken.add(key)
        if key not in self.data:
            return default
        value = self.data[key]
        is_flag = isinstance(value, bool) and sort is not bool  # bool is an int to Python, not to the user
        is_huge = isinstance(value, int) and abs(value) > 10**12
        if isinstance(value, sort) and not is_flag and not is_huge:
            return value
        self.wrong(key, f"{key} = {shown(value)} should be {expected}.")
        return default

    def text(self, key: str, default: str = "", required: str = "") -> str:
        """Return a text; `required` is an example to show where a text must be given and is not."""
        if required and key not in self.data:
            self.lacks(key, f"{self.called} needs {key}, for example {key} = {required}.")
        return str(self.get(key, str, f"a text in quotes, for example {required or '“…”'}", default))

    def flag(self, key: str, default: bool = False) -> bool:
        """Return true or false."""
        return bool(self.get(key, bool, "true or false, without quotes", default))

    def names(self, key: str, expected: str) -> list[str]:
        """Return a list of texts."""
        values = self.get(key, list, expected, [])
        good = [value for value in values if isinstance(value, str)]
        if len(good) < len(values):
            odd = next(value for value in values if not isinstance(value, str))
            self.wrong(key, f"{key} should be {expected}; {shown(odd)} is no text.")
        return good

    def table(self, key: str, called: str) -> Table:
        """Return a table inside this one; an empty one where it is missing."""
        self.taken.add(key)
        return Table(self.source, (*self.path, key), called, self.data.get(key))

    def tables(self, key: str, called: str) -> list[Table]:
        """Return an array of tables inside this one."""
        self.taken.add(key)
        rows = self.data.get(key, [])
        if isinstance(rows, dict):
            self.wrong(key, f"[{key}] should be written [[{key}]], in double brackets: there may be several.")
            return []
        if not isinstance(rows, list):
            self.wrong(key, f"{key} = {shown(rows)} should be a table: [[{key}]] in double brackets.")
            return []
        return [Table(self.source, (*self.path, key, number), called, row) for number, row in enumerate(rows)]

    def rest(self) -> list[str]:
        """Return the keys that nobody has taken yet."""
        return [key for key in self.data if key not in self.taken]

    def respell(self, key: str) -> None:
        """Where a key is missing and one that nobody took comes near to it, note that and read it as that key."""
        if key not in self.data and (written := _near(key, self.rest())):
            self.lacks(key, "")
            self.data = {**self.data, key: self.data[written]}

    def lacks(self, key: str, message: str) -> None:
        """Note that a key is missing; or, where one that nobody took comes near to it, that this one is misspelt."""
        if written := _near(key, self.rest()):
            self.taken.add(written)
            self.wrong(written, f"{self.called} has no key “{written}”.", f"Did you mean {key}?")
        else:
            self.wrong(None, message)

    def finish(self, also: Iterable[str] = ()) -> None:
        """Note every key nobody took, with the nearest spelling of those that were, or of others that could be."""
        known = {*self.taken, *also}
        for key in self.rest()[:MOST_SHOWN]:
            self.wrong(key, f"{self.called} has no key “{key}”.", nearest(key, known))


def _too_much(lines: Sequence[str], file: Path) -> Problem | None:
    """Return what is more than a unit file may have; None for any that a person wrote."""
    if len(lines) > MOST_LINES:
        return Problem(f"the file has {len(lines)} lines; at most {MOST_LINES} are read.", Where(file, MOST_LINES + 1))
    for number, line in enumerate(lines, start=1):
        if len(line) > _LONGEST_LINE:
            return Problem(f"this line is longer than {_LONGEST_LINE} characters.", Where(file, number))
        if len(line) > _MOST_DIGITS and re.search(rf"[0-9_]{{{_MOST_DIGITS}}}", line):
            return Problem(f"a number in this line has more than {_MOST_DIGITS} digits.", Where(file, number))
        if line.count(".") >= _MOST_STEPS and _LONG_KEY.search(line):
            return Problem(f"a key in this line has more than {_MOST_STEPS} steps.", Where(file, number))
    return None


def _together(found: Any, there: Mapping[str, Any]) -> Any:
    """Return a misspelt section, or the last of several, with the rightly spelt tables inside it."""
    if isinstance(found, dict):
        return {**found, **there}
    return [*found[:-1], _together(found[-1], there)] if there and found and isinstance(found[-1], dict) else found


def _near(word: str, others: Iterable[str]) -> str:
    """Return which of the others is most likely the same word with a slip in it; empty if none is."""
    lower = {other.lower(): other for other in others}
    found = difflib.get_close_matches(word.lower(), list(lower), n=1, cutoff=_ALIKE)
    return lower[found[0]] if found else ""


def shown(value: Any) -> str:
    """Return a value as it may be quoted in a message: in one line and short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = f"“{value}”" if isinstance(value, str) else str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}…"


def tidy(message: str) -> str:
    """Return a message in one line, with what the user wrote cut short and control characters made visible."""
    short = re.sub(r"“([^”]{77})[^”]{3,}”", r"“\1…”", " ".join(message.split()))
    return "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in short)


def _toml_hint(message: str) -> str:
    """Return the likely slip behind what tomllib said; empty if there is no good guess."""
    if "Cannot overwrite a value" in message or "Duplicate inline table key" in message:
        return "The same key is written twice in one table."
    if "Invalid value" in message:
        return "Texts such as 22k need quotes."
    if "Cannot declare" in message:
        return "The same table is written twice; where there may be several, use double brackets: [[stage]]."
    if "Expected newline" in message:
        return "Is a quote missing?"
    return ""
