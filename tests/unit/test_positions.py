"""Line numbers of TOML keys, against tomllib and against a writer that notes where it puts each key."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain.unit.positions import KeyPath, Positions

BARE = st.text("abcXYZ019_-", min_size=1, max_size=5)
KEYS = st.one_of(BARE, st.text("a.b \"'#=[]{}\\äΩ\n", max_size=4))
SCALARS = st.one_of(
    st.integers(-(10**6), 10**6),
    st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text("ab \"'#=[]{},\\\n\täΩ", max_size=12),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=6,
)
TABLES = st.dictionaries(KEYS, VALUES, max_size=4)
FILES = st.tuples(
    TABLES,
    st.dictionaries(BARE.map("T{}".format), TABLES, max_size=3),
    st.dictionaries(BARE.map("A{}".format), st.lists(TABLES, min_size=1, max_size=3), max_size=2),
)


class Writer:
    """Writes TOML in changing styles, and notes the line each key path is put on."""

    def __init__(self, draw: Any) -> None:
        self.draw, self.text, self.lines = draw, "", {}

    @property
    def line(self) -> int:
        return self.text.count("\n") + 1

    def quoted(self, text: str, multi_line: bool = True) -> str:
        style = self.draw(st.integers(0, 3 if multi_line else 1))
        plain = "\n" not in text and "\t" not in text
        if style == 1 and plain and "'" not in text:
            return f"'{text}'"
        if style == 2 and "'" not in text:
            return f"'''\n{text}'''"
        escaped = text.replace("\\", "\\\\").replace('"', '\\"')
        if style == 3:
            return f'"""\n{escaped}"""'
        return '"' + escaped.replace("\n", "\\n").replace("\t", "\\t") + '"'

    def key(self, key: str) -> str:
        bare = key and all(letter.isascii() and (letter.isalnum() or letter in "_-") for letter in key)
        return key if bare and self.draw(st.booleans()) else self.quoted(key, multi_line=False)

    def value(self, value: Any, path: KeyPath) -> None:
        if isinstance(value, bool):
            self.text += str(value).lower()
        elif isinstance(value, str):
            self.text += self.quoted(value)
        elif isinstance(value, list):
            self.array(value, path)
        elif isinstance(value, dict):
            self.text += "{ "
            for number, (key, inner) in enumerate(value.items()):
                self.text += ", " if number else ""
                self.pair(key, inner, path)
            self.text += " }"
        else:
            self.text += repr(value)

    def array(self, values: list[Any], path: KeyPath) -> None:
        self.text += "["
        for number, inner in enumerate(values):
            self.text += self.draw(st.sampled_from(["", " ", "\n  ", " # a ] comment\n"]))
            self.lines[(*path, number)] = self.line
            self.value(inner, (*path, number))
            self.text += ","
        self.text += self.draw(st.sampled_from(["]", "\n]"]))

    def pair(self, key: str, value: Any, path: KeyPath) -> None:
        self.lines[(*path, key)] = self.line
        self.text += f"{self.key(key)} = "
        self.value(value, (*path, key))

    def table(self, rows: dict[str, Any], path: KeyPath) -> None:
        for key, value in rows.items():
            self.pair(key, value, path)
            self.text += self.draw(st.sampled_from(["\n", "  # [no] = header\n", "\n\n"]))

    def file(self, top: dict[str, Any], tables: dict[str, Any], arrays: dict[str, Any]) -> None:
        self.table(top, ())
        for key, rows in tables.items():
            self.lines[(key,)] = self.line
            self.text += f"[{self.key(key)}]\n"
            self.table(rows, (key,))
        for key, many in arrays.items():
            self.lines[(key,)] = self.line
            for number, rows in enumerate(many):
                self.lines[(key, number)] = self.line
                self.text += f"[[ {self.key(key)} ]]\n"
                self.table(rows, (key, number))


def paths(value: Any, path: KeyPath = ()) -> set[KeyPath]:
    """Return every key path of what tomllib has read."""
    inner = list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())
    return {(*path, key) for key, _ in inner} | {deep for key, item in inner for deep in paths(item, (*path, key))}


@settings(max_examples=100)
@given(FILES, st.data())
def test_every_key_has_the_line_it_was_written_on(file: tuple[Any, Any, Any], data: st.DataObject) -> None:
    top, tables, arrays = file
    top = {key: value for key, value in top.items() if key not in tables and key not in arrays}
    writer = Writer(data.draw)
    writer.file(top, tables, arrays)
    read = tomllib.loads(writer.text)
    found = Positions(writer.text).lines
    assert set(found) == paths(read)
    assert found == writer.lines


def test_dotted_keys_sub_tables_of_arrays_and_closing_quotes() -> None:
    text = (
        'a.b . "c" = 1\n'
        "[[stage]]\n"
        "x = '''one\ntwo'''''\n"
        "[stage.points]\n"
        'out = """a\n"" b"""""\n'
        "[[stage]]\n"
        "[stage.points]\n"
        "inn = { name = 'U2 pin 2', printed = { dc = '0 V' } }\n"
    )
    found = Positions(text)
    assert set(found.lines) == paths(tomllib.loads(text))
    assert found.lines[("a", "b", "c")] == 1
    assert found.lines[("stage", 0, "points", "out")] == 6
    assert found.lines[("stage", 1)] == 8
    assert found.lines[("stage", 1, "points", "inn", "printed", "dc")] == 10


def test_a_path_that_is_not_there_has_the_line_of_its_table() -> None:
    found = Positions("\n[setup]\nload = '8R'\n")
    assert found.line(("setup", "generator")) == 2
    assert found.line(("rails",)) is None
