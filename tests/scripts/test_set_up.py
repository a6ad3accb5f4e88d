"""scripts/setup-common: what it does where something is missing, half-made or changed. Nothing is fetched here."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

# Stands in for the slow steps. `install` leaves what `is_done` looks for, and fails while the file `no-network` exists.
STAND_INS = """
    . scripts/setup-common
    find_ngspice() { :; }
    can_make_venv() { :; }
    make_venv() { say made; "$base_python" -m venv --without-pip "$venv"; }
    install() {
        say "installed [$1]"
        [ ! -e no-network ] || return 1
        for place in "$venv"/lib/python3.*/site-packages; do touch "$place/lostgain.py" "$place/PySpice.py"; done
    }
"""


@pytest.fixture
def clone(tmp_path: Path, repository: Path) -> Path:
    """As much of the repository as the set-up reads."""
    place = tmp_path / "a clone"
    package = "sim/lostgain"
    for name in ["pyproject.toml", "scripts/setup-common", f"{package}/problems.py", f"{package}/engine/library.py"]:
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(repository / name, place / name)
    return place


def run(clone: Path, script: str, **environment: str) -> tuple[int, str]:
    """Run shell lines in a clone.

    Returns
    -------
    int
        Exit code.
    str
        What was said on standard error.
    """
    settings = os.environ | {"PYTHON": sys.executable} | environment
    done = subprocess.run(["sh", "-euc", script], cwd=clone, env=settings, text=True, capture_output=True, check=False)
    return done.returncode, done.stderr


def set_up(clone: Path, extra: str = "", **environment: str) -> tuple[int, list[str]]:
    """Run ``set_up EXTRA`` with the stand-ins, and give the exit code and the slow steps that it took."""
    code, said = run(clone, f'{STAND_INS} set_up "{extra}"', **environment)
    return code, [line for line in said.splitlines() if line == "made" or line.startswith("installed")]


def test_second_call_does_nothing(clone: Path) -> None:
    assert set_up(clone) == (0, ["made", "installed []"])
    assert set_up(clone) == (0, [])


def test_extra_is_added_once_and_kept(clone: Path) -> None:
    set_up(clone)
    assert set_up(clone, "test") == (0, ["installed [test]"])
    assert set_up(clone, "test") == (0, [])
    assert set_up(clone) == (0, [])


def test_half_made_is_made_anew(clone: Path) -> None:
    (clone / "no-network").touch()
    assert set_up(clone) == (2, ["made", "installed []"])
    (clone / "no-network").unlink()
    assert set_up(clone) == (0, ["made", "installed []"])


def test_extra_that_failed_half_way_is_made_anew(clone: Path) -> None:
    set_up(clone)
    (clone / "no-network").touch()
    assert set_up(clone, "test")[0] == 2
    (clone / "no-network").unlink()
    assert set_up(clone, "test") == (0, ["made", "installed [test]"])


def test_damaged_environment_is_made_anew(clone: Path) -> None:
    set_up(clone)
    (module,) = clone.glob(".venv/lib/python3.*/site-packages/PySpice.py")
    module.unlink()
    assert set_up(clone) == (0, ["made", "installed []"])


def test_moved_repository_is_made_anew(clone: Path) -> None:
    set_up(clone)
    moved = clone.rename(clone.with_name("elsewhere"))
    assert set_up(moved) == (0, ["made", "installed []"])


def test_only_a_change_of_what_is_installed_counts(clone: Path) -> None:
    set_up(clone)
    described = clone / "pyproject.toml"
    described.write_text(described.read_text().replace("line-length = 120", "line-length = 100"))
    assert set_up(clone) == (0, [])
    described.write_text(re.sub('"scipy>=[0-9.]+"', '"scipy>=1.0"', described.read_text()))
    assert set_up(clone) == (0, ["made", "installed []"])


def test_missing_packages_are_asked_of_apt_in_one_go(clone: Path) -> None:
    script = f"""{STAND_INS}
        find_ngspice() {{ [ -e installed ]; }}
        can_make_venv() {{ [ -e installed ]; }}
        apt_install() {{ say "apt: $*"; touch installed; }}
        set_up_system"""
    code, said = run(clone, script, NGSPICE_LIBRARY_PATH="")
    minor = sys.version_info.minor
    assert (code, said) == (0, f"apt: python3.{minor}-venv libngspice0\n")


def test_missing_library_stops_with_a_line_for_each_system(clone: Path) -> None:
    script = ". scripts/setup-common; can_make_venv() { :; }; set_up test"
    code, said = run(clone, script, NGSPICE_LIBRARY_PATH="/nowhere/libngspice.so")
    assert code == 2
    assert "/nowhere/libngspice.so" in said
    for system in ["Debian/Ubuntu:", "Fedora:", "macOS:", "Windows:"]:
        assert system in said
    assert "Traceback" not in said
    assert not (clone / ".venv").exists()


def test_missing_venv_module_stops_with_the_line_to_type(clone: Path) -> None:
    script = f"{STAND_INS} can_make_venv() {{ return 1; }}; apt_install() {{ return 1; }}; set_up_system"
    code, said = run(clone, script)
    assert code == 2
    assert said.endswith(f"sudo apt install python3.{sys.version_info.minor}-venv\n")


@pytest.mark.parametrize("python", ["/nowhere/python3", "./old-python"])
def test_no_python_or_an_old_one_stops_with_a_line_for_each_system(clone: Path, python: str) -> None:
    # As Python 3.9 would: it runs the line, and prints nothing for itself.
    old = clone / "old-python"
    old.write_text("#!/bin/sh\necho\n")
    old.chmod(0o755)
    code, said = run(clone, f"{STAND_INS} set_up_system", PYTHON=python)
    assert code == 2
    for system in ["Debian/Ubuntu:", "Fedora:", "macOS:", "Windows:"]:
        assert system in said


def test_without_root_and_password_apt_is_left_alone(clone: Path) -> None:
    tools = clone / "tools"
    tools.mkdir()
    for name, does in {"id": "echo 1000", "sudo": "exit 1", "apt-get": "echo apt-get ran >&2"}.items():
        (tools / name).write_text(f"#!/bin/sh\n{does}\n")
        (tools / name).chmod(0o755)
    script = ". scripts/setup-common; apt_install libngspice0"
    assert run(clone, script, PATH=f"{tools}:{os.environ['PATH']}") == (1, "")


@pytest.mark.parametrize("script", ["scripts/demo", "scripts/test", "scripts/check-wheel", ".ci/run"])
def test_scripts_can_be_run_and_are_plain_shell(repository: Path, script: str) -> None:
    assert os.access(repository / script, os.X_OK)
    assert (repository / script).read_text().startswith("#!/bin/sh\n")
    subprocess.run(["sh", "-n", str(repository / script)], check=True)
