"""Hostile netlists and tasks: proof that nothing was written or run."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lostgain.engine import Pool, refuse
from lostgain.problems import UserError
from tests.engine import tasks

LANDLOCK = "no writing outside the scratch folder"


@pytest.fixture(scope="module")
def pool():
    with Pool(workers=1, time_limit=20) as made:
        made.map(tasks.same, [1])
        yield made


@pytest.mark.skipif(sys.platform == "win32", reason="nothing of the kind there")
def test_something_protects(pool: Pool) -> None:
    assert pool.protection


def test_worker_stands_in_a_folder_of_its_own(pool: Pool) -> None:
    places = pool.map(tasks.places, [1])[0].value
    assert places["folder"] == places["home"] != str(Path.cwd())
    assert Path(places["folder"]).name.startswith("lostgain-")


def test_worker_can_neither_write_nor_start_anything(pool: Pool, tmp_path: Path) -> None:
    if LANDLOCK not in pool.protection:
        pytest.skip("this system offers no way")
    (tmp_path / "precious").write_text("precious")
    done = pool.map(tasks.try_to_escape, [str(tmp_path)])[0].value
    assert not any(done.values()), done
    assert (tmp_path / "precious").read_text() == "precious"
    assert [each.name for each in tmp_path.iterdir()] == ["precious"]


def _hostile(marker: Path) -> dict[str, list[str]]:
    """Netlists that would leave a marker file."""
    circuit = ["v1 in 0 1", "r1 in 0 1k"]
    return {
        "control block": [*circuit, ".control", f"shell touch {marker}", f"echo x > {marker}", ".endc"],
        "control block, upper case": [*circuit, ".CONTROL", f"shell touch {marker}", ".ENDC"],
        "control in a comment": [*circuit, f"*# shell touch {marker}"],
        "script": ["*ng_script", f"shell touch {marker}", *circuit],
        "backtick name": [f"r`touch\t{marker}` in 0 1k", *circuit],
        "backtick value": [*circuit, f"r2 in 0 `touch {marker}`"],
        "semicolon": [*circuit, f"r2 in 0 1k;shell touch {marker}"],
        "code model": [*circuit, "a1 [in] sink", f'.model sink file_source(file="{marker}")'],
        "file option": [*circuit, f".options filetype=ascii rawfile={marker}"],
        "exec": [*circuit, f".exec shell touch {marker}"],
        "print to file": [*circuit, ".op", f".print op v(in) > {marker}"],
        "save": [*circuit, f".save `touch {marker}`"],
        "dollar": [*circuit, f"r2 in 0 $(touch {marker})"],
        "second circuit": [*circuit, ".end", ".control", f"shell touch {marker}", ".endc"],
    }


@pytest.mark.parametrize("name", sorted(_hostile(Path("x"))))
def test_hostile_netlist_leaves_no_mark(pool: Pool, tmp_path: Path, name: str) -> None:
    marker = tmp_path / "marker"
    lines = _hostile(marker)[name]
    with contextlib.suppress(UserError):
        cleaned = " ".join(refuse(lines))  # what is let through holds nothing of it any more
        assert "touch" not in cleaned
        assert str(marker) not in cleaned
    if LANDLOCK in pool.protection:  # and had it been let through, the worker could not have done it
        pool.map(tasks.hostile, [lines])
    assert not marker.exists()


@pytest.mark.parametrize("command", ["shell touch {}", "echo x > {}", "op; shell touch {}", "write {}", "wrdata {} in"])
def test_commands_of_ngspice_itself_leave_no_mark(pool: Pool, tmp_path: Path, command: str) -> None:
    if LANDLOCK not in pool.protection:
        pytest.skip("this system offers no way")
    marker = tmp_path / "marker"
    pool.map(tasks.hostile_command, [command.format(marker)])
    assert not marker.exists()


INIT = """
from lostgain.engine import Pool, Session
from tests.engine import tasks
session = Session()
session.load(["v1 in 0 1", "r1 in 0 1k"])
assert session.op(["in"])[0] == 1
with Pool(workers=1) as pool:
    assert pool.map(tasks.divide, [1000.0])[0].value == 0.5
print("done")
"""

UNGUARDED = """
from PySpice.Spice.NgSpice.Shared import NgSpiceShared
NgSpiceShared()
"""


def _run_beside_init_file(code: str, folder: Path) -> tuple[str, bool]:
    """Run code with an initialisation file in its working folder and home; say whether that file ran."""
    marker = folder / "marker"
    home = folder / "home"
    home.mkdir()
    for place in (folder, home):
        for name in (".spiceinit", "spice.rc"):
            (place / name).write_text(f"echo x > {marker}\nshell touch {marker}\n")
    environment = {
        **os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "HOME": str(home), "SPICE_USERINIT_DIR": str(home),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.stdout, marker.exists()


def test_initialisation_files_are_ignored(tmp_path: Path) -> None:
    printed, ran = _run_beside_init_file(INIT, tmp_path)
    assert "done" in printed
    assert not ran


def test_initialisation_file_would_run_otherwise(tmp_path: Path) -> None:
    """The test above can fail."""
    if not os.environ.get("NGSPICE_LIBRARY_PATH"):
        pytest.skip("PySpice alone needs to be told where the library is")
    _, ran = _run_beside_init_file(UNGUARDED, tmp_path)
    assert ran
