"""An engine runs a job for each item, passes on reports and errors, and survives a lost worker."""

import os
import pickle
import select
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from pathlib import Path
from queue import SimpleQueue
from types import SimpleNamespace
from typing import Any

import distributed
import pytest
from distributed.scheduler import KilledWorker

from calibration.errors import InputError
from tests.tracker.engine_jobs import begin, begun, failing, squared
from tests.tracker.test_workflow_jobs import filmed, written
from tracker.engines import Engine, LocalEngine
from tracker.engines import dask as far
from tracker.engines.dask import DaskEngine, dask_engine
from tracker.workflow.measure import MeasureOptions, measure_session

PATIENCE_S = 20.0
REMEDY = "install it with: pip install 'lobmeter[dask]'"


def cluster(**given: Any) -> distributed.LocalCluster:
    return distributed.LocalCluster(
        dashboard_address=":0", host="127.0.0.1", threads_per_worker=1, **given
    )


@pytest.fixture(scope="module")
def threads() -> Iterator[distributed.LocalCluster]:
    """A real scheduler and two workers in threads of this process, which start at once."""
    with cluster(n_workers=2, processes=False, protocol="tcp") as made:
        yield made


@pytest.fixture(params=["here", "processes", "dask"])
def engine(request: pytest.FixtureRequest) -> Iterator[Engine]:
    if request.param == "dask":
        made = request.getfixturevalue("threads")
        with dask_engine(made.scheduler_address) as opened:
            yield opened
    else:
        yield LocalEngine({"here": 1, "processes": 2}[request.param])


def test_every_item_has_its_result_once_and_reports_are_passed_on(engine: Engine) -> None:
    items = [3, 1, 4, 1, 5, 9, 2, 6]
    reports: list[Any] = []
    found = list(engine.run(squared, items, reports.append))
    assert sorted(found) == sorted((at, item * item) for at, item in enumerate(items))
    if not isinstance(engine, DaskEngine):
        assert sorted(reports) == sorted(("seen", item) for item in items)


def test_no_item_is_no_work(engine: Engine) -> None:
    assert list(engine.run(squared, [], print)) == []


def test_a_fault_of_the_input_comes_as_it_is(engine: Engine) -> None:
    with pytest.raises(InputError) as caught:
        list(engine.run(failing, [0, 1, 2, 3, 4], print))
    assert caught.value.sentences() == ["2.mp4: cannot be measured; film it again."]


@pytest.mark.parametrize(
    ("cores", "items", "expected"), [(2, 6, ["begun"]), (2, 5, []), (3, 6, [])]
)
def test_processes_begin_alone_only_where_they_keep_every_core_busy(
    monkeypatch: pytest.MonkeyPatch, cores: int, items: int, expected: list[str]
) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    found = list(LocalEngine(2, begin=begin).run(begun, range(items), print))
    assert [each for _, each in found] == [expected] * items


ASKER = """
import sys
from tests.tracker.engine_jobs import waiting
from tracker.engines import LocalEngine
if __name__ == "__main__":
    list(LocalEngine(2).run(waiting, [0, 1], lambda said: print(said, flush=True)))
"""


@pytest.mark.skipif(not hasattr(os, "pidfd_open"), reason="needs Linux to wait for a stranger")
def test_processes_end_with_the_one_that_asked(tmp_path: Path) -> None:
    script = tmp_path / "asker.py"
    script.write_text(ASKER, encoding="utf-8")
    asker = subprocess.Popen(
        [sys.executable, str(script)],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert asker.stdout is not None
    workers = [os.pidfd_open(int(asker.stdout.readline())) for _ in range(2)]
    asker.kill()
    asker.wait()
    for worker in workers:
        assert select.select([worker], [], [], PATIENCE_S)[0], (
            "a worker outlives the one that asked"
        )
        os.close(worker)


def test_reports_come_while_a_scheduler_runs_the_jobs(threads: distributed.LocalCluster) -> None:
    reports: SimpleQueue[Any] = SimpleQueue()
    with dask_engine(threads.scheduler_address) as engine:
        coming = engine.run(squared, [7, 8], reports.put)
        next(coming)
        found = {reports.get(timeout=30) for _ in range(2)}
        coming.close()
    assert found == {("seen", 7), ("seen", 8)}


def test_the_engine_says_how_many_workers_it_has(threads: distributed.LocalCluster) -> None:
    with dask_engine(threads.scheduler_address) as engine:
        assert engine.notes == (f"2 workers at {threads.scheduler_address}.",)


def test_threads_that_stay_idle_are_named() -> None:
    client = SimpleNamespace(nthreads=lambda: {"tcp://a:1": 4})
    first, second = DaskEngine("tcp://s:8786", client).notes
    assert first == "1 worker at tcp://s:8786."
    assert "--nthreads 1" in second


def test_few_items_lie_at_the_scheduler_at_the_same_time() -> None:
    client = Scripted(["done"] * 20)
    engine = DaskEngine("tcp://s:8786", client)
    assert len(list(engine.run(squared, range(20), print))) == 20
    assert client.most == far.AHEAD * 2, "two threads"


class Scripted:
    """A client whose items end as a script says, at once."""

    status = "running"

    def __init__(self, ends: Sequence[Any], workers: int = 2) -> None:
        self._ends = ends
        self._workers = workers
        self.cancelled: list[Any] = []
        self.most = self._open = 0

    def nthreads(self) -> dict[str, int]:
        return {f"tcp://{at}": 1 for at in range(self._workers)}

    def submit(self, call: Any, packed: bytes, topic: str, key: str, pure: bool) -> Any:
        self._open += 1
        self.most = max(self.most, self._open)
        return ScriptedFuture(key, self._ends[int(key.rpartition("-")[2])], self)

    def taken(self) -> None:
        self._open -= 1

    def subscribe_topic(self, *_: Any) -> None: ...

    def unsubscribe_topic(self, *_: Any) -> None: ...

    def cancel(self, futures: list[Any]) -> None:
        self.cancelled += futures


class ScriptedFuture:
    def __init__(self, key: str, end: Any, client: Scripted) -> None:
        self.key, self._end, self._client = key, end, client
        self.status = "error" if isinstance(end, Exception) else "finished"
        if isinstance(end, CancelledError | ConnectionError):
            self.status = "lost"

    def add_done_callback(self, called: Any) -> None:
        if self._end is not None:
            called(self)

    def exception(self) -> Any:
        return self._end

    def result(self) -> bytes:
        self._client.taken()
        if isinstance(self._end, BaseException):
            raise self._end
        return pickle.dumps(self._end)


@pytest.mark.parametrize(
    ("end", "words"),
    [
        (KilledWorker("x", SimpleNamespace(address="tcp://a:1"), 3), "every worker that got"),
        (ModuleNotFoundError("No module named 'tracker'"), "a worker lacks a package (No module"),
        (CancelledError("scheduler-connection-lost"), "the scheduler is gone; start them again"),
        (ConnectionError("reset by peer\nand so on"), "the scheduler is gone (reset by peer); "),
    ],
)
def test_what_keeps_a_result_from_coming_is_a_sentence(end: Exception, words: str) -> None:
    client = Scripted([end, None, None])
    with pytest.raises(InputError) as caught:
        list(DaskEngine("tcp://s:8786", client).run(squared, range(3), print))
    (sentence,) = caught.value.sentences()
    assert sentence.startswith("--on: ") and words in sentence
    assert len(client.cancelled) == 2, "nobody waits for the rest"


def test_an_error_of_the_program_stays_what_it_is() -> None:
    client = Scripted([ZeroDivisionError("a fault of ours")])
    with pytest.raises(ZeroDivisionError):
        list(DaskEngine("tcp://s:8786", client).run(squared, [0], print))


def test_a_run_without_any_worker_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    client = Scripted([None], workers=0)
    with pytest.raises(InputError, match="the scheduler has no worker"):
        list(DaskEngine("tcp://s:8786", client, workerless_s=0.01).run(squared, [0], print))


def test_no_worker_comes_is_a_sentence() -> None:
    with (
        cluster(n_workers=0, processes=False, protocol="tcp") as made,
        pytest.raises(InputError, match="the scheduler has no worker"),
        dask_engine(made.scheduler_address, workerless_s=0.01),
    ):
        pass


@pytest.mark.parametrize("form", ["tcp://127.0.0.1:{port}", "nowhere://127.0.0.1:{port}"])
def test_an_address_that_does_not_answer_is_a_sentence(form: str) -> None:
    with socket.socket() as bound:  # bound and not listening: refused, and nobody else's
        bound.bind(("127.0.0.1", 0))
        address = form.format(port=bound.getsockname()[1])
        with (
            pytest.raises(InputError, match="no Dask scheduler answers at") as caught,
            dask_engine(address, connect_s=0.2),
        ):
            pass
    (sentence,) = caught.value.sentences()
    assert sentence.endswith(
        "write the address that the scheduler prints, such as tcp://host:8786."
    )


def test_a_missing_library_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError) as caught, dask_engine("tcp://127.0.0.1:1"):
        pass
    assert caught.value.remedy == REMEDY


def test_the_scheduler_needs_no_lobmeter() -> None:
    packed = distributed.protocol.pickle.dumps(far._call_by_value())
    assert b"run_packed" in packed, "by value: what it does is in it"


@pytest.mark.campaign
def test_the_workers_of_a_scheduler_give_the_same_bytes(
    tmp_path: Path, threads: distributed.LocalCluster
) -> None:
    folder = filmed(tmp_path / "lane", [110, 120], frames=8)
    measure_session(folder)
    before = written(folder)
    counts: list[tuple[int, int]] = []
    notes: list[str] = []
    options = MeasureOptions(
        scheduler=threads.scheduler_address,
        on_count=lambda *step: counts.append(step),
        on_note=notes.append,
    )
    measure_session(folder, options=options)
    assert written(folder) == before
    assert counts == [(1, 2), (2, 2)]
    assert notes == [f"2 workers at {threads.scheduler_address}."]


@pytest.mark.long
def test_a_worker_that_is_killed_loses_no_result(tmp_path: Path) -> None:
    folder = filmed(tmp_path / "lane", [110, 120, 130, 140], frames=8)
    measure_session(folder)
    before = written(folder)
    killed: list[int] = []
    with cluster(n_workers=2, processes=True) as made:
        pids = {worker.worker_address: worker.pid for worker in made.workers.values()}

        def kill_one_at_work(*_: object) -> None:
            busy = [state.address for state in made.scheduler.workers.values() if state.processing]
            if busy and not killed:
                killed.append(pids[busy[0]])
                os.kill(killed[0], getattr(signal, "SIGKILL", signal.SIGTERM))

        options = MeasureOptions(scheduler=made.scheduler_address, cache=tmp_path / "cache")
        measure_session(folder, kill_one_at_work, options)
    assert len(killed) == 1
    assert written(folder) == before
