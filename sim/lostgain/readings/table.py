"""A CSV file as spreadsheets make it, to rows of named cells with their line numbers. Knows nothing of readings."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from lostgain.problems import Problem, UserError, Where, nearest

#: Largest file that is read [bytes], most lines, and the longest [characters]. A long day at the bench makes some
#: hundreds; so many are read in under two seconds.
LARGEST = 2_000_000
MOST_LINES = 5000
LONGEST_LINE = 20_000
MOST_COLUMNS = 20

#: Longest cell [characters]; a note fits well.
LONGEST_CELL = 1000

_UNKNOWN = "?"  # stands for a column that isn't known
_DELIMITERS = ",;\t"


@dataclass(frozen=True)
class Row:
    """One line below the header: its number in the file and its cells by column."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Sheet:
    """A file's content.

    Parameters
    ----------
    rows : tuple of Row
    comments : tuple of (int, str)
        Lines that start with ``#``: line number and text without the sign.
    units : mapping
        Column to the unit in its heading: ``value (mV rms)`` gives ``{"value": "mV rms"}``.
    warnings : tuple of str
    problems : tuple of Problem
        Mistakes that don't keep the other lines from being read.
    """

    rows: tuple[Row, ...]
    comments: tuple[tuple[int, str], ...]
    units: Mapping[str, str]
    warnings: tuple[str, ...]
    problems: tuple[Problem, ...]


def read_sheet(path: Path, columns: Mapping[str, Sequence[str]], required: Sequence[str]) -> Sheet:
    """Return the rows of a CSV file.

    Comma, semicolon or tab between the cells, whichever makes the header known; UTF-8, UTF-16 with its mark, or else
    Windows-1252, which is said in a warning.

    Parameters
    ----------
    path : Path
    columns : mapping
        Name of a column to the other headings it may have.
    required : sequence of str
        Columns that must be there. A line starting with ``#`` that has a number in the last of them is left out with a
        warning, other such lines are comments.

    Raises
    ------
    UserError
        If the file can't be read, is too long, or has no header with the required columns.
    """
    text, warnings = _text(path)
    comments: list[tuple[int, str]] = []
    lines = text.splitlines(keepends=True)
    if len(lines) > MOST_LINES:
        message = f"the file goes on here and has {len(lines)} lines; at most {MOST_LINES} are read."
        raise UserError(Problem(message, Where(path, MOST_LINES + 1), "Is it another file?"))
    if too_long := next((number for number, line in enumerate(lines, 1) if len(line) > LONGEST_LINE), 0):
        message = f"this line has more than {LONGEST_LINE} characters."
        raise UserError(Problem(message, Where(path, too_long), "Is it another file?"))
    start, delimiter = _first(lines)
    if start is None:
        raise UserError(Problem("the file is empty.", Where(path), f"Its first line names columns: {_list(columns)}."))
    delimiter = delimiter or _sniff(lines[start], columns)
    for number, line in enumerate(lines[:start], 1):
        _keep_comment(number, [line], comments)
    records = list(_records(path, lines, start, delimiter, comments))
    header_line, heading = records[0]
    names, units, problems = _header(Where(path, header_line), heading, columns, required)
    rows = []
    for number, cells in records[1:]:
        if cells[0].startswith("#"):
            _keep_comment(number, cells, comments)
            if re.match(r"[-+<~]?[0-9]", _by_name(names, cells).get(required[-1], "")):
                warnings.append(f"{Where(path, number)}: left out, since it starts with #.")
        elif problem := _wrong_shape(Where(path, number), cells, names, delimiter):
            problems.append(problem)
        elif any(cells):
            rows.append(Row(number, _by_name(names, cells)))
    return Sheet(tuple(rows), tuple(comments), units, tuple(warnings), tuple(problems))


def _by_name(names: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """Return a line's cells by column."""
    return {name: cell for name, cell in zip(names, cells, strict=False) if name}


def _text(path: Path) -> tuple[str, list[str]]:
    """Return the file's text, and a warning where its encoding had to be guessed."""
    try:
        if not path.is_file() and path.exists():
            raise OSError("it is no plain file")  # a pipe would be waited for, and a device has no end
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UserError(Problem(f"the file can't be read: {reason}.", Where(path))) from None
    if len(raw) > LARGEST:
        size = f"the file goes on here and has more than {LARGEST / 1e6:.0f} MB; a readings file has a few kilobytes."
        raise UserError(Problem(size, Where(path, raw[:LARGEST].count(b"\n") + 1), "Is it another file?"))
    warnings = []
    try:
        text = raw.decode(_encoding(raw))
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        try:
            text = raw.decode("cp1252")
        except UnicodeDecodeError:
            problem = Problem("this line is not text.", Where(path, line), "Save the file as CSV UTF-8.")
            raise UserError(problem) from None
        warnings.append(f"{Where(path, line)}: not UTF-8; read as Windows-1252. Check µ and Ω, or save as CSV UTF-8.")
    if bad := re.search(r"[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f]", text):
        line = text[: bad.start()].count("\n") + 1
        message = f"this line has the control character 0x{ord(bad[0]):02x} in it: the file is not CSV."
        raise UserError(Problem(message, Where(path, line), "Save it as CSV UTF-8 from the spreadsheet."))
    # Only \n, \r\n and \r end a line here; splitlines would take others too, which may stand inside a note.
    return re.sub(r"[\x0b\x0c\x1c-\x1e\x85\u2028\u2029]", " ", text.replace("\r\n", "\n").replace("\r", "\n")), warnings


def _encoding(raw: bytes) -> str:
    """Return UTF-8, or UTF-16 where a file has its mark, or every other byte is none as in Latin text without it."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    head = raw[:400]
    if len(raw) % 2 == 0 and head.count(b"\0") * 3 > len(head):
        return "utf-16-le" if head[1::2].count(b"\0") > head[::2].count(b"\0") else "utf-16-be"
    return "utf-8-sig"


def _first(lines: Sequence[str]) -> tuple[int | None, str]:
    """Return the index of the header and the delimiter, where a spreadsheet wrote ``sep=;`` above it."""
    delimiter = ""
    for number, line in enumerate(lines):
        clean = line.strip(' \t\r\n,;"')
        if match := re.fullmatch(r"(?i)\"?sep=([,;\t])\"?", line.strip("\r\n ")):
            delimiter = match[1]
        elif clean and not clean.startswith("#"):
            return number, delimiter
    return None, delimiter


def _sniff(header: str, columns: Mapping[str, Sequence[str]]) -> str:
    """Return the delimiter with which most headings are known, and among equals that which gives most cells."""

    def known(delimiter: str) -> tuple[int, int]:
        cells = header.strip("\r\n").split(delimiter)
        return sum(bool(_column(cell.strip('" '), columns)[0]) for cell in cells), len(cells)

    return max(_DELIMITERS, key=known)


def _records(
    path: Path, lines: Sequence[str], start: int, delimiter: str, comments: list[tuple[int, str]]
) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and stripped cells of every record from the header on."""

    def without_comments() -> Iterator[str]:
        open_quote = False
        for number, line in enumerate(lines[start:], start + 1):
            if not open_quote and line.lstrip().startswith("#") and delimiter not in line.strip(f" \n{delimiter}"):
                _keep_comment(number, [line], comments)
                yield "\n"
                continue
            if line.count('"') % 2:
                open_quote = not open_quote
            yield line

    reader = csv.reader(without_comments(), delimiter=delimiter, strict=True)
    number = start + 1
    try:
        for cells in reader:
            yield number, [cell.strip() for cell in cells] or [""]
            number = start + reader.line_num + 1
    except csv.Error as error:
        said = "a quote is opened in this line and never closed" if "end of data" in str(error) else str(error)
        problem = Problem(f"this is not CSV: {said}.", Where(path, number), "Double a quote inside a cell.")
        raise UserError(problem) from None


def _keep_comment(number: int, cells: Sequence[str], comments: list[tuple[int, str]]) -> None:
    text = " ".join(cell.strip(' \t\r\n,;"') for cell in cells).strip()
    if text.startswith("#"):
        comments.append((number, text.lstrip("# ")))


def _header(
    where: Where, heading: Sequence[str], columns: Mapping[str, Sequence[str]], required: Sequence[str]
) -> tuple[list[str], dict[str, str], list[Problem]]:
    """Return the column of each cell, empty for a cell without heading, the units in the headings, and the mistakes."""
    names: list[str] = []
    units: dict[str, str] = {}
    problems: list[Problem] = []
    fatal = False
    missing = set(required) - {_column(cell, columns)[0] for cell in heading}
    for cell in heading:
        name, unit = _column(cell, columns)
        if cell and not name:
            problems.append(Problem(f"there is no column '{_short(cell)}'.", where, nearest(_short(cell), columns)))
            # A column that has to be there is read on as what it is meant for: its lines may hold other mistakes.
            name = next(iter(difflib.get_close_matches(_short(cell).lower(), sorted(missing), 1)), _UNKNOWN)
            if len(problems) >= MOST_COLUMNS:
                raise UserError(problems)
        elif name and name in names:
            problems.append(Problem(f"the column '{name}' is there twice.", where))
        names.append(name)
        if unit:
            units[name] = unit
    if not any(name not in ("", _UNKNOWN) for name in names):
        message = f"this line should name the columns, not hold '{_short(heading[0])}'."
        raise UserError(Problem(message, where, f"Columns: {_list(columns)}."))
    for name in required:
        if name not in names:
            found = f"Columns found: {_list(filter(None, names))}."
            problems.append(Problem(f"there is no column '{name}'.", where, found))
            fatal = True
    if fatal:
        raise UserError(problems)
    return names, units, problems


def _column(cell: str, columns: Mapping[str, Sequence[str]]) -> tuple[str, str]:
    """Return the column a heading stands for, empty if none, and the unit in brackets behind it."""
    if len(cell) > LONGEST_CELL:
        return "", ""
    match = re.fullmatch(r"(.*?)\s*[(\[]\s*([^()\[\]]*?)\s*[)\]]\s*:?", cell)
    heading, unit = (match[1], match[2]) if match else (cell, "")
    plain = " ".join(heading.casefold().replace("_", " ").replace("-", " ").split()).rstrip(":. ")
    for name, others in columns.items():
        if plain and plain in (name, *others):
            return name, unit
    return "", ""


def _wrong_shape(where: Where, cells: Sequence[str], names: Sequence[str], delimiter: str) -> Problem | None:
    """Return the problem of a line with a cell under no heading, or with one that is too long; None for a good line."""
    if (longest := max(map(len, cells))) > LONGEST_CELL:
        message = f"a cell of this line has {longest} characters; at most {LONGEST_CELL} are read."
        return Problem(message, where, "Is a quote missing?")
    if not any(cell and (index >= len(names) or not names[index]) for index, cell in enumerate(cells)):
        return None
    count = max(index for index, cell in enumerate(cells) if cell) + 1
    meant = "Put a cell with a comma in it (a decimal comma, a note) in quotes." if delimiter == "," else ""
    return Problem(f"this line has {count} cells, the header {sum(map(bool, names))} columns.", where, meant)


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:37]}…"


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)
