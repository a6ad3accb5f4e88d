"""Builds that are stopped, by whatever: no half file is taken for a whole one, and the next run goes on from there."""

from __future__ import annotations

import contextlib
import ctypes
import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.signatures import Table, table
from tests.circuit.units import make
from tests.signatures.units import TINY, TINY_NETLIST

BUILD = Path(__file__).with_name("build_one.py")
pytestmark = [
    pytest.mark.skipif(os.name != "posix", reason="signals and limits are another matter there"),
    pytest.mark.usefixtures("cache"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("units") / "tiny"
    make(folder, TINY, board=TINY_NETLIST)
    return folder


@pytest.fixture(scope="module")
def circuit(folder: Path, pool: Pool) -> Circuit:
    return build(make(folder, TINY, board=TINY_NETLIST), pool)


@pytest.fixture(scope="module")
def first(circuit: Circuit, pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Table:
    """The table, built without trouble."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("LOSTGAIN_CACHE", str(tmp_path_factory.mktemp("first")))
        return table(circuit, pool, draws=2)


def run_apart(
    folder: Path, *words: str, before: Callable[[], None] | None = None, **more: int
) -> tuple[int, list[str]]:
    """Build in a process of its own; return its exit code and what it printed."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, str(BUILD), str(folder), *words],
        env=environment, capture_output=True, text=True, timeout=60, check=False, preexec_fn=before,
    )  # fmt: skip
    return done.returncode, done.stdout.splitlines()


def finished(circuit: Circuit, pool: Pool) -> tuple[Table, list[int]]:
    """Build what is left; also the numbers of the rows that were simulated."""
    seen: list[int] = []
    return table(circuit, pool, lambda done, total: seen.append(done), draws=2), seen


def files(cache: Path) -> set[str]:
    return {"".join(path.suffixes) for path in cache.iterdir()}


@pytest.mark.parametrize(
    ("moment", "sent", "code"),
    [("2", "KILL", -9), ("15", "KILL", -9), ("written", "KILL", -9), ("10", "INT", 1), ("written", "INT", 1)],
)
def test_a_build_that_is_ended_at_some_moment_goes_on(
    folder: Path, circuit: Circuit, pool: Pool, first: Table, cache: Path, moment: str, sent: str, code: int
) -> None:
    ended, printed = run_apart(folder, moment, sent)
    if sent == "INT":  # how Python ends after KeyboardInterrupt
        assert ended in (code, -signal.SIGINT)
    else:
        assert ended == code
    assert ".nc" not in files(cache)
    made, seen = finished(circuit, pool)
    assert made.data.equals(first.data)
    total = int(printed[0].split()[1])
    if moment == "written":
        assert seen == []  # all rows were kept
    else:
        assert seen == list(range(int(moment) + 1, total + 1))  # only what was not done is simulated
    assert files(cache) == {".nc", ".lock", ".db"}  # nothing half-written is left


def test_a_worker_killed_part_way_changes_nothing(circuit: Circuit, first: Table) -> None:
    killed: list[int] = []

    def kill(done: int, total: int) -> None:
        if done in (5, 15):
            victims = set(workers())
            assert victims
            killed.extend(victims)
            for victim in victims:
                os.kill(victim, signal.SIGKILL)

    with Pool(workers=2) as two:
        made = table(circuit, two, kill, draws=2)
    assert len(killed) >= 2
    assert made.failed == ()
    assert made.data.equals(first.data)


def workers() -> Iterator[int]:
    """Worker processes of this process, of pools of two."""
    for each in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            parent = int(each.read_text().rpartition(")")[2].split()[1])
            words = each.with_name("cmdline").read_bytes().split(b"\0")
            if parent == os.getpid() and b"lostgain.engine.worker" in words:
                yield int(each.parent.name)


def test_two_at_once_and_one_of_them_killed(folder: Path, circuit: Circuit, pool: Pool, first: Table) -> None:
    """The second waits; when the first is killed it goes on from what that one has done."""
    results: dict[str, tuple[int, list[str]]] = {}
    threads = [
        threading.Thread(target=lambda: results.update(one=run_apart(folder, "10", "KILL"))),
        threading.Thread(target=lambda: results.update(two=run_apart(folder, "10", "KILL"))),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    printed = sorted((lines for _, lines in results.values()), key=lambda lines: int(lines[0].split()[0]))
    # Whichever was first did 10 rows and was killed there; the other did the rest, and passes 10 without doing it.
    assert [lines[0].split()[0] for lines in printed] in (["2", "11"], ["1", "11"])
    assert printed[1][-1] == first.key
    made, seen = finished(circuit, pool)
    assert seen == []
    assert made.data.equals(first.data)


@pytest.mark.parametrize("most", [20_000, 120_000])
def test_a_disk_that_gets_full(
    folder: Path, circuit: Circuit, pool: Pool, first: Table, cache: Path, most: int
) -> None:
    """A limit on the size of files stands in for the disk."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    code, printed = run_apart(folder, before=limit)
    assert code == 2
    assert "the signature table cannot be kept here" in printed[-1]
    assert ".nc" not in files(cache)
    made, _ = finished(circuit, pool)
    assert made.data.equals(first.data)
    assert files(cache) == {".nc", ".lock", ".db"}


def test_a_small_disk(folder: Path, circuit: Circuit, pool: Pool, first: Table, cache: Path) -> None:
    """A disk of 150 kB, where the system lets us have one."""
    cache.mkdir()
    mount = shutil.which("mount")
    asked = [str(mount), "-t", "tmpfs", "-o", "size=150k", "lostgain-test", str(cache)]
    if mount is None or os.geteuid() != 0 or subprocess.run(asked, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount, and not everywhere")
    try:
        code, printed = run_apart(folder)
        assert code == 2
        assert "cannot be kept here" in printed[-1]
        assert ".nc" not in files(cache)
        subprocess.run([str(mount), "-o", "remount,size=20m", str(cache)], check=True)
        made, seen = finished(circuit, pool)
        assert made.data.equals(first.data)
        assert seen == [] or seen[0] > 1  # what there was room for was kept
    finally:
        subprocess.run(["umount", str(cache)], check=True)


def test_a_cache_that_may_not_be_written(folder: Path, circuit: Circuit, pool: Pool, cache: Path) -> None:
    """A table that is there is opened; one that is not is not built."""
    cache.mkdir()
    cache.chmod(0o555)
    code, printed = run_apart(folder, before=without_roots_rights)
    assert (code, printed[-1].partition(": ")[2][:53]) == (2, "the signature table cannot be kept here: Permission d")
    cache.chmod(0o755)
    made = table(circuit, pool, draws=2)
    for path in cache.iterdir():
        path.chmod(0o444)
    cache.chmod(0o555)
    assert run_apart(folder, before=without_roots_rights) == (0, [made.key])
    cache.chmod(0o755)


def without_roots_rights() -> None:
    """Give up root's right to write anywhere, for what is started next (Linux, capabilities(7): CAP_DAC_OVERRIDE)."""
    if os.geteuid() == 0:
        assert ctypes.CDLL(None).prctl(24, 1, 0, 0, 0) == 0  # PR_CAPBSET_DROP
