"""Workers that die, hang, fail or finish ngspice harm nothing but their own item."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest

from lostgain.cli.main import guarded
from lostgain.engine import Outcome, Pool
from lostgain.engine.process import Worker, WorkerLost
from lostgain.problems import NoWorker, UserError
from tests.engine import tasks


@pytest.fixture(scope="module")
def pool():
    with Pool(workers=2, time_limit=30) as made:
        yield made


def test_results_in_order_with_progress(pool: Pool) -> None:
    seen: list[tuple[int, int]] = []
    ohms = [100.0 * step for step in range(1, 41)]
    outcomes = pool.map(tasks.divide, ohms, progress=lambda done, total: seen.append((done, total)))
    assert [outcome.value for outcome in outcomes] == pytest.approx([r / (1000 + r) for r in ohms])
    assert all(outcome.error is None for outcome in outcomes)
    assert seen == [(done, 40) for done in range(1, 41)]


def test_nothing_to_do(pool: Pool) -> None:
    assert pool.map(tasks.same, []) == []


def test_imap_gives_each_index_once(pool: Pool) -> None:
    assert sorted((i, o.value) for i, o in pool.imap(tasks.same, range(100))) == [(i, i) for i in range(100)]


def test_imap_left_early_leaves_the_pool_in_order(pool: Pool) -> None:
    for _ in pool.imap(tasks.same, range(1000)):
        break
    assert [outcome.value for outcome in pool.map(tasks.same, range(50))] == list(range(50))


def test_killed_worker_loses_its_item_only(pool: Pool) -> None:
    outcomes = pool.map(tasks.killed_at, [(n, 7) for n in range(30)])
    assert [outcome.value for outcome in outcomes] == [None if n == 7 else n for n in range(30)]
    assert "signal 9" in (outcomes[7].error or "")


def test_item_of_a_killed_worker_is_tried_again(pool: Pool) -> None:
    alive = [outcome.value for outcome in pool.map(tasks.pid, range(8))]
    assert pool.map(tasks.killed_among, [(5, alive)]) == [Outcome(5)]


def test_hung_worker_is_replaced() -> None:
    started = time.monotonic()
    with Pool(workers=2, time_limit=0.4) as pool:
        outcomes = pool.map(tasks.hangs_at, [(n, 3) for n in range(10)])
    assert [outcome.value for outcome in outcomes] == [None if n == 3 else n for n in range(10)]
    assert "longer than 0.4 s" in (outcomes[3].error or "")
    assert time.monotonic() - started < 10


def test_an_item_is_tried_as_often_as_is_asked_for() -> None:
    """A worker that died before it could say so is not tried again where once is all: the item is lost."""
    with Pool(workers=1, tries=1) as pool:
        alive = [outcome.value for outcome in pool.map(tasks.pid, [0])]
        [lost] = pool.map(tasks.killed_among, [(5, alive)])
        assert "signal 9" in (lost.error or "")
        assert pool.map(tasks.same, [6]) == [Outcome(6)], "the worker is replaced all the same"
    with pytest.raises(ValueError, match="at least once"):
        Pool(tries=0)


def test_failed_simulation_is_recorded_with_what_ngspice_said(pool: Pool) -> None:
    outcomes = pool.map(tasks.fails, range(6))
    assert [outcome.value for outcome in outcomes] == [0, None, 2, None, 4, None]
    assert all(outcome.error and outcome.said for outcome in outcomes[1::2])


def test_finished_ngspice_is_replaced() -> None:
    with Pool(workers=1) as pool:
        outcomes = pool.map(tasks.finishes_ngspice, range(5))
    assert [outcome.error is None for outcome in outcomes] == [True, True, False, True, True]
    before, after = outcomes[1].value[1], outcomes[3].value[1]
    assert before != after


def test_mistake_of_a_task_is_raised_with_its_place(pool: Pool) -> None:
    with pytest.raises(ZeroDivisionError) as mistake:
        pool.map(tasks.mistaken, range(4))
    assert any("mistaken" in note for note in mistake.value.__notes__)
    assert pool.map(tasks.same, [1])[0].value == 1


def test_users_mistake_comes_whole(pool: Pool) -> None:
    with pytest.raises(UserError) as mistake:
        pool.map(tasks.users_mistake, [1])
    assert mistake.value.problems[0].where.line == 7


def test_result_that_cannot_be_sent(pool: Pool) -> None:
    with pytest.raises(RuntimeError, match="cannot be sent"):
        pool.map(tasks.unpicklable, [1])


def test_printing_does_not_disturb_the_talk(pool: Pool) -> None:
    assert [outcome.value for outcome in pool.map(tasks.prints, range(5))] == list(range(5))


def test_task_has_to_be_at_module_level(pool: Pool) -> None:
    with pytest.raises(TypeError, match="module"):
        pool.map(lambda session, item: item, [1])


def test_what_is_common_is_sent_to_a_worker_once(pool: Pool) -> None:
    found = pool.map(tasks.add, range(40), common=[1, 2])
    assert [outcome.value[0] for outcome in found] == [3 + number for number in range(40)]
    assert len({outcome.value[1] for outcome in found}) <= 2
    assert pool.map(tasks.add, [1], common=[5])[0].value[0] == 6


@pytest.mark.parametrize("kind", [ThreadPoolExecutor, ProcessPoolExecutor])
def test_any_executor_will_do_and_a_crash_costs_one_task(kind: type[Executor]) -> None:
    with kind(2) as executor, Pool(time_limit=10, executor=executor) as pool:
        outcomes = pool.map(tasks.killed_at, [(n, 7) for n in range(30)])
        assert [outcome.value for outcome in outcomes] == [None if n == 7 else n for n in range(30)]
        assert "signal 9" in (outcomes[7].error or "")
        with pytest.raises(ZeroDivisionError) as mistake:
            pool.map(tasks.mistaken, range(4))
        assert any("mistaken" in note for note in mistake.value.__notes__)
        assert executor.submit(abs, -1).result() == 1  # it is not ended with the pool's work


class KilledWorker(Exception):
    """As Dask's is called."""


def test_of_what_an_executor_loses_only_the_guilty_item_is_lost() -> None:
    class Fragile(ThreadPoolExecutor):
        def submit(self, call, batch):  # type: ignore[no-untyped-def, override]
            lost = any(number == 3 for number, _ in batch.items)
            return super().submit(killed) if lost else super().submit(call, batch)

    def killed() -> None:
        raise KilledWorker

    with Fragile(2) as executor, Pool(workers=2, executor=executor) as pool:
        outcomes = pool.map(tasks.same, range(20))
    assert [outcome.value for outcome in outcomes] == [None if n == 3 else n for n in range(20)]
    assert "every process" in (outcomes[3].error or "")


def test_an_executor_that_cannot_do_it_is_said() -> None:
    class Elsewhere(ThreadPoolExecutor):
        def submit(self, call, batch):  # type: ignore[no-untyped-def, override]
            return super().submit(__import__, "no_such_package")

    with Elsewhere(1) as executor, Pool(executor=executor) as pool, pytest.raises(UserError, match="no_such_package"):
        pool.map(tasks.same, range(3))


def test_an_executor_that_is_gone_is_said() -> None:
    with ProcessPoolExecutor(1) as executor, Pool(executor=executor) as pool:
        (pid,) = {executor.submit(os.getpid).result()}
        os.kill(pid, signal.SIGKILL)
        with pytest.raises(UserError, match="the workers are gone"):
            pool.map(tasks.same, range(20))
    with ThreadPoolExecutor(1) as executor:
        pass
    with Pool(executor=executor) as pool, pytest.raises(UserError, match="the workers are gone"):
        pool.map(tasks.same, [1])


def test_a_worker_without_work_ends_by_itself_and_is_replaced() -> None:
    with Pool(workers=1) as pool:
        first = pool.map(tasks.ends_when_idle, [0.1])[0].value
        until = time.monotonic() + 10
        while _runs(first) and time.monotonic() < until:
            time.sleep(0.02)
        assert not _runs(first)
        assert pool.map(tasks.pid, [1])[0].value != first


def test_pool_only_in_a_with_block() -> None:
    with pytest.raises(RuntimeError, match="with block"):
        Pool().map(tasks.same, [1])
    with pytest.raises(ValueError, match="worker"):
        Pool(workers=0)


def test_no_process_and_no_folder_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with Pool(workers=2) as pool:
        pids = {outcome.value for outcome in pool.map(tasks.pid, range(8))}
    assert len(pids) == 2
    assert not any(_runs(pid) for pid in pids)
    assert not list(tmp_path.iterdir())


PARENT = """
import sys
from lostgain.engine import Pool
from tests.engine import tasks
with Pool(workers=2, time_limit=60) as pool:
    print(*{outcome.value for outcome in pool.map(tasks.pid, range(8))}, flush=True)
    pool.map(tasks.computes_for_ever, range(4))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals are another matter there")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_workers_die_with_their_parent(sent: signal.Signals) -> None:
    if sent == signal.SIGKILL and not sys.platform.startswith("linux"):
        pytest.skip("only Linux ends a busy worker at once with its parent")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment, text=True
    )
    assert parent.stdout is not None
    pids = [int(word) for word in parent.stdout.readline().split()]
    assert pids
    time.sleep(0.2)
    parent.send_signal(sent)
    assert parent.wait(timeout=10) != 0
    parent.stdout.close()
    deadline = time.monotonic() + 5
    while any(_runs(pid) for pid in pids) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not any(_runs(pid) for pid in pids)


def _runs(pid: int) -> bool:
    """Whether a process lives (one that is dead and not yet collected does not)."""
    status = Path(f"/proc/{pid}/stat")
    if status.exists():
        return status.read_text().rpartition(")")[2].split()[0] != "Z"
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return not Path("/proc").exists()


def test_memory_stays_flat_over_many_loads(pool: Pool) -> None:
    early, late = pool.map(tasks.memory_over_loads, [400])[0].value
    assert late - early < 8  # MB; measured: below 1


def test_worker_leaves_ctrl_c_to_its_parent(pool: Pool) -> None:
    assert pool.map(tasks.interrupted, [1, 2]) == [Outcome(1), Outcome(2)]


def test_workers_that_never_start_are_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    def begin(worker: Worker) -> str:
        raise WorkerLost("the simulation took longer than 60 s")

    monkeypatch.setattr(Worker, "begin", begin)
    with Pool(workers=1) as pool, pytest.raises(NoWorker, match="could not be started"):
        pool.map(tasks.interrupted, [1])


def test_the_command_says_so_without_a_traceback(capsys: pytest.CaptureFixture[str]) -> None:
    def run() -> None:
        raise NoWorker("a worker process could not be started: it took longer than 60 s")

    assert guarded(run) == 2
    assert capsys.readouterr().err.startswith("A worker process could not be started")
