"""What the wheel and the source package hold. Built with hatchling itself, so nothing is fetched."""

from __future__ import annotations

import subprocess
import sys
import tarfile
from pathlib import Path
from zipfile import ZipFile

import pytest


def build(source: Path, target: str, into: Path) -> Path:
    """Build one package, and give its path."""
    command = [sys.executable, "-m", "hatchling", "build", "--target", target, "--directory", str(into)]
    subprocess.run(command, cwd=source, check=True, timeout=60)
    (built,) = into.iterdir()
    return built


@pytest.fixture(scope="module")
def wheel(repository: Path, tmp_path_factory: pytest.TempPathFactory) -> ZipFile:
    return ZipFile(build(repository, "wheel", tmp_path_factory.mktemp("wheel")))


@pytest.fixture(scope="module")
def source(repository: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Unpack the source package, and give the folder it holds."""
    place = tmp_path_factory.mktemp("source")
    with tarfile.open(build(repository, "sdist", tmp_path_factory.mktemp("sdist"))) as archive:
        # Debian 12's Python 3.11.2 has no filters yet, and Python 3.12 and 3.13 warn where none is named.
        archive.extractall(place, **({"filter": "data"} if hasattr(tarfile, "data_filter") else {}))
    (folder,) = place.iterdir()
    return folder


def shipped(repository: Path, folder: str) -> set[str]:
    """Files that belong in a package, as paths from the folder that is given; not what Python or a table left there."""
    root = repository / folder
    kinds = {".py", ".toml", ".cir", ".lib", ".csv", ".typed"}
    return {str(file.relative_to(root)) for file in root.rglob("*") if file.suffix in kinds}


def test_wheel_holds_the_package_and_the_circuits(wheel: ZipFile, repository: Path) -> None:
    names = set(wheel.namelist())
    assert shipped(repository, "circuits")
    assert {f"lostgain/circuits/{name}" for name in shipped(repository, "circuits")} <= names
    assert {f"lostgain/{name}" for name in shipped(repository, "sim/lostgain")} <= names
    assert {name.split("/")[0] for name in names} == {"lostgain", wheel.namelist()[-1].split("/")[0]}


def test_source_package_makes_the_same_wheel(wheel: ZipFile, source: Path, tmp_path: Path) -> None:
    again = ZipFile(build(source, "wheel", tmp_path))
    assert sorted(again.namelist()) == sorted(wheel.namelist())


def test_source_package_can_be_tested(source: Path) -> None:
    for name in ["LICENSE", "README.md", "pyproject.toml", "scripts/test", "scripts/setup-common", "tests/conftest.py"]:
        assert (source / name).is_file(), name


def test_wheel_says_licence_and_command(wheel: ZipFile) -> None:
    (facts,) = (name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    # PySpice is GPL-3.0 (its own package metadata), so what imports it is distributed under the same.
    assert "License-Expression: GPL-3.0-or-later\n" in wheel.read(facts).decode()
    commands = wheel.read(facts.replace("METADATA", "entry_points.txt")).decode()
    assert "lostgain = lostgain.cli.main:main" in commands
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in wheel.namelist())
