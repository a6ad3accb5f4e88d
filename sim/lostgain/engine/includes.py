"""A netlist file with the files it includes, all of them inside the unit's folder or the library."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from lostgain import shipped
from lostgain.engine.elements import checked
from lostgain.engine.expansion import refuse_endless
from lostgain.engine.text import Line
from lostgain.problems import Problem, UserError, Where, nearest

#: Largest file and largest sum of files [byte]: a hundred times what a unit's circuit takes.
LARGEST_FILE = 1_000_000
LARGEST_TOTAL = 4_000_000

#: Files within files, and files in all, at most.
DEEPEST = 8
MOST_FILES = 200


def resolve_includes(
    path: Path, folder: Path, library: Path | Sequence[Path] | None = None, *, title: bool = True
) -> list[str]:
    """Read a netlist, check it, and put the files it includes in the places of their ``.include`` or ``.lib`` lines.

    Parameters
    ----------
    path : Path
        The netlist.
    folder : Path
        The unit's folder.
    library : Path or sequence of Path, optional
        Folders of models that any unit may include; the shipped ones unless given.
    title : bool
        Whether the first line of `path` is a title. Included files have none.

    Returns
    -------
    list of str
        Cleaned lines, as `guard.refuse` returns them.

    Raises
    ------
    UserError
        For a file that is missing, too large, no text, includes itself, or lies outside those folders; and for
        everything `guard.refuse` raises for.
    """
    return [text for text, _ in resolve_lines(path, folder, library, title=title)]


def resolve_lines(
    path: Path, folder: Path, library: Path | Sequence[Path] | None = None, *, title: bool = True
) -> list[tuple[str, Where]]:
    """Do what `resolve_includes` does, and return each line with the file and the number it has there."""
    if library is None:
        library = shipped.folder() / "models"
    libraries = [library] if isinstance(library, Path) else list(library)
    reader = _Reader([folder.resolve(), *(each.resolve() for each in libraries)])
    lines = reader.read(path, Where(path), (), title)
    refuse_endless(lines)
    return lines


class _Reader:
    """Files read so far, and the folders they may lie in."""

    def __init__(self, roots: Sequence[Path]) -> None:
        self.roots = roots
        self.total = 0
        self.files = 0

    def read(
        self, path: Path, where: Where, chain: tuple[Path, ...], title: bool, section: str = ""
    ) -> list[tuple[str, Where]]:
        """Return the checked text of one file and all it includes."""
        real = path.resolve()
        if not any(real.is_relative_to(root) for root in self.roots):
            raise _wrong(f"{path.name} lies outside the unit's folder and the library, and is not read.", where)
        if real in chain:
            raise _wrong(f"{path.name} includes itself.", where)
        if len(chain) >= DEEPEST:
            raise _wrong(f"Files include each other more than {DEEPEST} deep.", where)
        lines = checked(self.text(real, path, where), path, title, includes=True)
        if section:
            lines = _section(lines, section, path, where)
        result: list[tuple[str, Where]] = []
        for line in lines:
            words = line.text.split(maxsplit=1)
            if words[0].lower() not in (".include", ".inc", ".lib", ".endl"):
                result.append((line.text, Where(path, line.number)))
                continue
            here = Where(path, line.number)
            name, part = _named(words, here)
            found = self.find(name, path.parent, here)
            result += self.read(found, here, (*chain, real), title=False, section=part)
        return result

    def text(self, real: Path, path: Path, where: Where) -> list[str]:
        """Return the lines of a file that may be read."""
        if not real.is_file():
            raise _wrong(f"There is no file {path.name}.", where)
        self.files += 1
        if self.files > MOST_FILES:
            raise _wrong(f"More than {MOST_FILES} files are included.", where)
        size = real.stat().st_size
        self.total += size
        if size > LARGEST_FILE or self.total > LARGEST_TOTAL:
            raise _wrong(
                f"{path.name} is too large for a netlist ({size / 1e6:.1f} MB; at most {LARGEST_FILE / 1e6:g} MB).",
                where,
            )
        try:
            text = real.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError as trouble:
            line = real.read_bytes()[: trouble.start].count(b"\n") + 1
            raise _wrong("There is a character here that is not UTF-8 text.", Where(path, line)) from None
        if not text.strip():
            raise _wrong(f"{path.name} is empty.", where)
        return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")

    def find(self, name: str, beside: Path, where: Where) -> Path:
        """Return the file a name means: beside the file that names it, else in the unit's folder, else in a library."""
        plain = PurePosixPath(name)
        if plain.is_absolute() or ".." in plain.parts or any(sign in name for sign in "\\~:$`"):
            raise _wrong(
                f"{name} leads out of the unit's folder, and is not read. Copy the file beside the netlist.", where
            )
        for root in (beside, *self.roots):
            if (root / plain).is_file():
                return root / plain
        near = [each.name for root in (beside, *self.roots) if root.is_dir() for each in root.iterdir()]
        raise _wrong(
            f"There is no file {name} beside the netlist or in the library. {nearest(name, near)}".strip(), where
        )


def _named(words: Sequence[str], where: Where) -> tuple[str, str]:
    """Return the file, and the section of it, that an ``.include`` or ``.lib`` line names."""
    if words[0].lower() == ".endl":
        raise _wrong(".endl ends a section of a library file, and none was begun.", where)
    rest = words[1].strip() if len(words) > 1 else ""
    if rest[:1] in ("'", '"') and rest.count(rest[0]) >= 2:
        name, _, tail = rest[1:].partition(rest[0])
        parts = [name, *tail.split()]
    else:
        parts = rest.split()
    most = 2 if words[0].lower() == ".lib" else 1
    if not parts or not parts[0] or len(parts) > most:
        raise _wrong(f"{words[0]} needs the name of one file.", where)
    return parts[0], parts[1] if len(parts) > 1 else ""


def _section(lines: Sequence[Line], section: str, path: Path, where: Where) -> list[Line]:
    """Return the lines from ``.lib SECTION`` to ``.endl`` of a library file."""
    found: list[Line] = []
    inside = False
    known: list[str] = []
    for line in lines:
        words = line.text.lower().split()
        if words[0] == ".lib" and len(words) == 2:
            known.append(words[1])
            inside = words[1] == section.lower()
        elif words[0] == ".endl":
            if inside:
                return found
        elif inside:
            found.append(line)
    if section.lower() in known:
        raise _wrong(f"The section {section} of {path.name} has no .endl.", where)
    raise _wrong(f"{path.name} has no section {section}. {nearest(section, known)}".strip(), where)


def _wrong(message: str, where: Where) -> UserError:
    return UserError(Problem(message, where))
