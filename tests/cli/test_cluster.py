"""Tables simulated on a cluster: Dask's scheduler with worker processes of its own, on this computer."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

import lostgain
from tests.circuit.units import make
from tests.cli.run import refused, run
from tests.signatures.units import SMALL, SMALL_NETLIST, TINY, TINY_NETLIST

#: Each test has a cache of its own.
pytestmark = pytest.mark.usefixtures("cache")

pytest.importorskip("distributed")
REPOSITORY = Path(__file__).resolve().parents[2]


@dataclass
class Cluster:
    """A scheduler and its workers."""

    address: str
    scheduler: subprocess.Popen[str]
    workers: list[subprocess.Popen[str]]


def start(module: str, *words: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(REPOSITORY / "sim"), str(REPOSITORY)])}
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.{module}", *words, "--host", "127.0.0.1", "--no-dashboard"],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip


def heard(process: subprocess.Popen[str], word: str) -> str:
    """Return what follows a word in what a process says; what it says later is thrown away."""
    assert process.stderr is not None
    for line in process.stderr:
        if word in line:
            threading.Thread(target=process.stderr.read, daemon=True).start()
            return line.partition(word)[2].strip()
    raise AssertionError(f"it ended without saying {word!r}")


@pytest.fixture(scope="module")
def cluster() -> Iterator[Cluster]:
    scheduler = start("dask_scheduler", "--port", "0")
    workers = []
    try:
        address = heard(scheduler, "Scheduler at:")
        for _ in range(2):
            workers.append(start("dask_worker", address, "--nthreads", "1", "--no-nanny"))
        for worker in workers:
            heard(worker, "Registered to:")
        yield Cluster(address, scheduler, workers)
    finally:
        for process in (scheduler, *workers):
            process.kill()
            process.wait()


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    make(tmp_path / "tiny", TINY, board=TINY_NETLIST)
    return tmp_path / "tiny"


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory) -> lostgain.Circuit:
    return lostgain.build_circuit(make(tmp_path_factory.mktemp("units") / "small", SMALL, board=SMALL_NETLIST))


def test_the_command_with_a_scheduler(capsys, cluster: Cluster, unit: Path, tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    code, out, err = run(capsys, "table", unit, "--scheduler", cluster.address, "--out", tmp_path / "far.nc")
    assert code == 0, err
    assert "Test points" in out
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "near"))
    near = lostgain.signature_table(lostgain.build_circuit(lostgain.open_unit(unit)))
    far = lostgain.table_from(tmp_path / "far.nc", near.circuit)
    assert far.data.attrs["digest"] == near.data.attrs["digest"]
    assert (far.key, far.remarks) == (near.key, ())


def test_a_worker_process_killed_part_way(
    cluster: Cluster, circuit: lostgain.Circuit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not the simulation only, but the whole process that looks after it, as if its computer had been switched off."""

    def kill(done: int, total: int) -> None:
        if done == 5:
            cluster.workers[0].send_signal(signal.SIGKILL)

    with lostgain.cluster(cluster.address) as executor:
        far = lostgain.signature_table(circuit, executor, kill, draws=2)
    assert cluster.workers[0].wait(timeout=5) == -signal.SIGKILL
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "near"))
    near = lostgain.signature_table(circuit, draws=2)
    assert far.failed == ()
    assert far.data.equals(near.data)


def test_other_versions_there_are_said(cluster: Cluster, circuit: lostgain.Circuit) -> None:
    other = replace(circuit, version=circuit.version + 1)
    with (
        lostgain.cluster(cluster.address) as executor,
        pytest.raises(lostgain.UserError, match="another lostgain or ngspice"),
    ):
        lostgain.signature_table(other, executor)


def test_a_scheduler_that_goes_part_way(cluster: Cluster, circuit: lostgain.Circuit) -> None:
    """To be the last: it ends the cluster."""
    seen: list[int] = []

    def kill(done: int, total: int) -> None:
        seen.append(done)
        if done == 5:
            cluster.scheduler.send_signal(signal.SIGKILL)

    begun = time.monotonic()
    with (
        lostgain.cluster(cluster.address) as executor,
        pytest.raises(lostgain.WorkersGone, match="the workers are gone"),
    ):
        lostgain.signature_table(circuit, executor, kill, draws=2)
    assert time.monotonic() - begun < 20
    done = max(seen)
    seen.clear()
    lostgain.signature_table(circuit, progress=lambda done, total: seen.append(done), draws=2)
    assert seen[0] == done + 1  # what was done is kept


def test_workers_gone_is_said_with_what_to_do(capsys, unit: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    @contextmanager
    def gone(address: str) -> Iterator[ThreadPoolExecutor]:
        executor = ThreadPoolExecutor(1)
        executor.shutdown()
        yield executor

    monkeypatch.setattr(lostgain, "cluster", gone)
    said = refused(capsys, "table", unit, "--scheduler", "127.0.0.1:1")
    assert "the workers are gone" in said
    assert "What is done is kept: the same command goes on from there." in said


@pytest.mark.parametrize(
    "address", ["127.0.0.1:1", "nowhere.invalid:8786", "127.0.0.1", "words", "bla://127.0.0.1:1", ""]
)
def test_a_wrong_address_is_said(capsys, unit: Path, monkeypatch, address: str) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr("lostgain.engine.cluster.ANSWER", 0.5)
    said = refused(capsys, "table", unit, "--scheduler", address)
    assert f"no Dask scheduler can be reached at '{address}'" in said
    assert "HOST:PORT" in said
    assert "\n" not in said.strip()


def test_a_scheduler_without_workers_is_said(capsys, unit: Path) -> None:  # type: ignore[no-untyped-def]
    scheduler = start("dask_scheduler", "--port", "0")
    try:
        address = heard(scheduler, "Scheduler at:")
        assert f"has no workers. Start some: dask worker {address}" in refused(
            capsys, "table", unit, "--scheduler", address
        )
    finally:
        scheduler.kill()
        scheduler.wait()


def test_without_the_package_the_extra_is_named(capsys, unit: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert "pip install 'lostgain[cluster]'" in refused(capsys, "table", unit, "--scheduler", "127.0.0.1:1")


def test_workers_of_this_computer_and_a_scheduler_are_one_too_many(capsys, unit: Path) -> None:  # type: ignore[no-untyped-def]
    assert "--workers is for this computer" in refused(
        capsys, "table", unit, "--scheduler", "127.0.0.1:1", "--workers", "2"
    )
