"""A netlist file with what it includes, as one list of lines; models may lie in files beside it only."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from lostgain.engine.includes import DEEPEST, LARGEST_TOTAL
from lostgain.engine.text import clean
from lostgain.netlists.habits import lines_of
from lostgain.netlists.model import Card, Notes, wrong
from lostgain.problems import UserError, Where, nearest

#: What makers of models write above text that one program alone can read.
_ENCRYPTED = re.compile(
    r"\s*[*$.]\W*(\w*encstart\b|(begin\W+)?encrypted(\W|_)*(lib|model|begin)?\W*$|protect\W*$)", re.I
)
_INCLUDES = (".include", ".inc", ".lib")


@dataclass
class Reader:
    """Files read so far.

    Parameters
    ----------
    folder : Path
        The netlist's; nothing outside it is read.
    notes : Notes
    missing : list of (str, Where)
        Files that are named and not there: no mistake while nothing of theirs is needed.
    own : set of Path
        Files that were included.
    """

    folder: Path
    notes: Notes
    missing: list[tuple[str, Where]] = field(default_factory=list)
    own: set[Path] = field(default_factory=set)
    total: int = 0
    title: str = ""

    def read(self, path: Path, where: Where, chain: tuple[Path, ...] = (), section: str = "") -> list[Card]:
        """Return the lines of a file and of all it includes.

        Raises
        ------
        UserError
            With every line that makes ngspice run commands, and for files that cannot be read.
        """
        real = path.resolve()
        if not real.is_relative_to(self.folder.resolve()):
            raise wrong(f"{path.name} leads out of the netlist's folder, and is not read.", where)
        if real in chain or len(chain) >= DEEPEST:
            raise wrong(f"{path.name} includes itself, or files include each other too deep.", where)
        raw = lines_of(path, where, self.notes)
        self.total += sum(map(len, raw))
        if self.total > LARGEST_TOTAL:
            raise wrong("The files that this netlist includes are too large together.", where)
        for number, line in enumerate(raw, 1):
            if _ENCRYPTED.match(line):
                message = "From here on the file is encrypted, and cannot be read."
                raise wrong(message, Where(path, number), "Use a plain model, or leave the part out and name it later.")
        if chain:
            self.own.add(path)
        else:
            self.title = _title(raw)
        lines, problems = clean(_with_title(raw) if not chain else raw, path, title=not chain)
        if problems:
            raise UserError(problems)
        cards = [Card(line.text, Where(path, line.number)) for line in lines]
        if section:
            cards = _section(cards, section, path, where)
        found: list[Card] = []
        for card in cards:
            if card.word == ".end" and not chain:
                break
            if card.word in _INCLUDES:
                found += self._included(card, path, (*chain, real))
            elif card.word != ".endl":
                found.append(card)
        return found

    def _included(self, card: Card, beside: Path, chain: tuple[Path, ...]) -> list[Card]:
        name, section = _named(card)
        path = self._find(name, beside)
        if path is None:
            self.missing.append((name, card.where))
            return []
        return self.read(path, card.where, chain, section)

    def _find(self, name: str, beside: Path) -> Path | None:
        """Return the file of that name in the netlist's folder; of a path that leads elsewhere only the name counts."""
        steps = [step for step in re.split(r"[\\/]", name) if step not in ("", ".", "..") and ":" not in step]
        for count in range(len(steps), 0, -1):
            for root in (beside.parent, self.folder):
                path = root.joinpath(*steps[-count:])
                if path.is_file():
                    return path
        wanted = steps[-1].lower() if steps else ""
        return next((each for each in sorted(self.folder.iterdir()) if each.name.lower() == wanted), None)


def _title(raw: list[str]) -> str:
    """Return the netlist's title: its first line, or what ``.title`` says."""
    named = next((line.split(maxsplit=1)[1] for line in raw if re.match(r"\s*\.title\s+\S", line, re.IGNORECASE)), "")
    return (named or raw[0].lstrip("* ")).strip()


def _with_title(raw: list[str]) -> list[str]:
    """Return the lines, an empty one first where the first is a directive as some editors write it."""
    return raw if not raw[0].lstrip().startswith(".title") else ["*", *raw[1:]]


def _named(card: Card) -> tuple[str, str]:
    """Return the file that an ``.include`` or ``.lib`` line names, and the section of it."""
    rest = card.text.partition(" ")[2].strip()
    if rest[:1] in ("'", '"') and rest.count(rest[0]) >= 2:
        name, _, tail = rest[1:].partition(rest[0])
        tail = tail.strip()
    elif card.word == ".lib":
        match = re.match(r"(.*?\.\w+)(?:\s+(\w+))?$", rest) or re.match(r"(\S+)(?:\s+(\w+))?$", rest)
        name, tail = (match[1], match[2] or "") if match else ("", "")
    else:
        name, tail = rest, ""
    if not name:
        raise wrong(f"{card.word} needs the name of one file.", card.where)
    return name, tail


def _section(cards: list[Card], section: str, path: Path, where: Where) -> list[Card]:
    """Return the lines from ``.lib SECTION`` to ``.endl`` of a library file."""
    found: list[Card] = []
    known = []
    inside = False
    for card in cards:
        words = card.text.lower().split()
        if words[0] == ".lib" and len(words) == 2 and "." not in words[1]:
            known.append(words[1])
            inside = words[1] == section.lower()
        elif words[0] == ".endl":
            if inside:
                return found
        elif inside:
            found.append(card)
    raise wrong(f"{path.name} has no section {section} that ends with .endl. {nearest(section, known)}".strip(), where)
