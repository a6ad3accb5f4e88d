"""The house: which folder may import which, and that every package imported is one that pyproject.toml asks for."""

from __future__ import annotations

import ast
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

# From the top down, as in DEVELOPERS.md; a place may import those above it. `__init__` is the public face of them all.
HOUSE = [
    "problems",
    "quantities",
    "shipped",
    "engine",
    "unit",
    "readings",
    "circuit",
    "netlists",
    "faults",
    "signatures",
    "diagnosis",
    "bench",
    "teach",
    "report",
    "cli",
    "demo",
    "__main__",
    "__init__",
]


def imports(file: Path) -> Iterator[tuple[int, str]]:
    """Find what a file imports, anywhere in it, as line and full name."""
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, each.name) for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}, line {node.lineno}: imports are written in full here"
            module = node.module or ""
            # `from lostgain import shipped` names a place only in its second half
            yield from ((node.lineno, f"{module}.{each.name}") for each in node.names)


def package_files(repository: Path) -> list[Path]:
    files = sorted((repository / "sim" / "lostgain").rglob("*.py"))
    assert files
    return files


def test_imports_go_one_way(repository: Path) -> None:
    package = repository / "sim" / "lostgain"
    wrong = []
    for file in package_files(repository):
        place = file.relative_to(package).parts[0].removesuffix(".py")
        for line, name in imports(file):
            first, *rest = name.split(".")
            if first != "lostgain" or not rest:
                continue
            assert rest[0] in HOUSE, f"{file}, line {line}: lostgain.{rest[0]} has no place in the house"
            if HOUSE.index(rest[0]) > HOUSE.index(place):
                wrong.append(f"{file.relative_to(repository)}, line {line}: {place} imports {rest[0]}")
    assert wrong == []


@pytest.mark.parametrize("name", ["numpy", "PySpice"])
def test_imports_are_seen(repository: Path, name: str) -> None:
    """Guards the two other tests: a reader of imports that finds nothing would pass them."""
    assert any(found.split(".")[0] == name for file in package_files(repository) for _, found in imports(file))


def test_every_package_imported_is_asked_for(repository: Path) -> None:
    project = tomllib.loads((repository / "pyproject.toml").read_text())["project"]
    extra = project["optional-dependencies"]["cluster"]
    asked = {each.split(">")[0].strip().lower() for each in (*project["dependencies"], *extra)}
    known = set(sys.stdlib_module_names) | {"lostgain", "_typeshed"}  # the last is there for mypy only
    missing = {
        f"{file.relative_to(repository)}, line {line}: {name}"
        for file in package_files(repository)
        for line, name in imports(file)
        if name.split(".")[0] not in known and name.split(".")[0].lower() not in asked
    }
    assert missing == set()
