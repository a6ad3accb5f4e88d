"""Line numbers of the keys of a TOML file, which tomllib does not give.

The scanner expects text that tomllib has taken, so it looks only for where keys begin and values end.
"""

from __future__ import annotations

import re
import tomllib

#: A way to a value: ``("stage", 0, "points", "inn")``. Numbers count array elements from 0.
KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'  # up to two quotes may stand just before the closing three
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}#\r\n]*")


class Positions:
    """The line each key path of a TOML text begins on.

    Parameters
    ----------
    text : str
        TOML that tomllib has taken, with line feeds at the line ends.
    """

    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {}
        self._text = text
        self._at = 0
        self._line = 1
        self._counted = 0
        self._tables: dict[KeyPath, int] = {}  # arrays of tables: number of tables so far
        self._scan()

    def line(self, path: KeyPath) -> int | None:
        """Return the line of a key path, or of the nearest table around it; None if even that is not in the file."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return None

    def _scan(self) -> None:
        table: KeyPath = ()
        while self._skip(_BLANK) < len(self._text):
            if self._text.startswith("[[", self._at):
                table = self._header(2)
            elif self._text.startswith("[", self._at):
                table = self._header(1)
            else:
                self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self._text, self._at)
        if match:
            self._at = match.end()
        return self._at

    def _mark(self, path: KeyPath) -> None:
        """Note the current line for a key path and for what it implies, unless they were seen before."""
        self._line += self._text.count("\n", self._counted, self._at)
        self._counted = self._at
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], self._line)

    def _key(self) -> list[str]:
        """Read a dotted key."""
        steps = []
        while True:
            self._skip(_SPACE)
            quoted = self._text[self._at] in "\"'"
            match = (_STRING if quoted else _BARE).match(self._text, self._at)
            if match is None:
                raise ValueError(f"no key at character {self._at}")
            self._at = match.end()
            # tomllib undoes the escapes of a quoted key exactly as it did for the data
            steps.append(str(tomllib.loads(f"k = {match[0]}")["k"]) if quoted else match[0])
            self._skip(_SPACE)
            if not self._text.startswith(".", self._at):
                return steps
            self._at += 1

    def _header(self, brackets: int) -> KeyPath:
        self._at += brackets
        steps = self._key()
        path: KeyPath = ()
        for number, step in enumerate(steps):
            path = (*path, step)
            if brackets == 2 and number == len(steps) - 1:
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = (*path, self._tables[path] - 1)
        self._mark(path)
        self._at += brackets
        return path

    def _pair(self, table: KeyPath) -> None:
        path: KeyPath = (*table, *self._key())
        self._mark(path)
        self._at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        opening = self._text[self._at : self._at + 1]
        if opening == "[":
            self._array(path)
        elif opening == "{":
            self._inline_table(path)
        elif opening and opening in "\"'":
            self._skip(_STRING)
        else:
            self._skip(_PLAIN)

    def _array(self, path: KeyPath) -> None:
        self._at += 1
        count = 0
        while True:
            self._skip(_BLANK)
            if self._text[self._at] == ",":
                self._at += 1
            elif self._text[self._at] == "]":
                self._at += 1
                return
            else:
                self._mark((*path, count))
                self._value((*path, count))
                count += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        while True:
            self._skip(_BLANK)
            if self._text[self._at] == ",":
                self._at += 1
            elif self._text[self._at] == "}":
                self._at += 1
                return
            else:
                self._pair(path)
