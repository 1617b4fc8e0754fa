"""Jobs in this process, or in several processes of this computer."""

import multiprocessing
import os
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from typing import Any

from tracker.engines.protocol import Item, Job, Report, Result

Begin = Callable[[], None]

MANY = 3
"""Items for each process from which all of them are busy nearly to the end. Common practice, no
source."""


@dataclass(frozen=True)
class LocalEngine:
    """The computer that asks.

    Attributes
    ----------
    jobs : int
        Processes at the same time; 1 runs everything in this process, in order.
    notes : tuple of str
        Empty.
    modules : tuple of str
        Imported once for all processes, where the system can make them from one that has.
    begin : callable or None
        Called first in every process where they keep all cores busy to the end: as many as there
        are cores, with at least `MANY` items each.
    """

    jobs: int = 1
    notes: tuple[str, ...] = ()
    modules: tuple[str, ...] = ()
    begin: Begin | None = None

    def run(
        self, job: Job[Item, Result], items: Sequence[Item], report: Report
    ) -> Generator[tuple[int, Result], None, None]:
        """Run a job for each item; see `tracker.engines.protocol.Engine`."""
        workers = min(self.jobs, len(items))
        if workers <= 1:
            for index, item in enumerate(items):
                yield index, job(item, report)
            return
        busy = workers >= (os.cpu_count() or 1) and len(items) >= MANY * workers
        begin = self.begin if busy else None
        with _pool(workers, report, self.modules, begin) as pool:
            running = {
                pool.submit(_run_in_worker, job, item): index for index, item in enumerate(items)
            }
            for future in as_completed(tuple(running)):
                yield running.pop(future), future.result()


_QUEUE: Any = None
"""In a worker, where its reports go."""


def _begin_worker(queue: Any, begin: Begin | None) -> None:
    global _QUEUE
    _QUEUE = queue
    if begin is not None:
        begin()
    asker = multiprocessing.parent_process()
    if asker is not None:
        threading.Thread(target=_end_with, args=(asker,), daemon=True).start()


def _end_with(asker: BaseProcess) -> None:
    """End this process where the one that asks was killed: nobody takes its results any more."""
    asker.join()
    os._exit(1)


def _run_in_worker(job: Job[Item, Result], item: Item) -> Result:
    return job(item, _QUEUE.put)


def process_context(modules: Sequence[str]) -> BaseContext:
    """Return how processes are started: from one that has imported modules, else each anew.

    The one starts with the first of them, and ends with the process that asked.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["__main__", *modules])
    return context


@contextmanager
def _pool(
    workers: int, report: Report, modules: Sequence[str], begin: Begin | None
) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes whose reports are passed on here."""
    context = process_context(modules)
    queue = context.Queue()

    def forward() -> None:
        for said in iter(queue.get, None):
            report(said)

    listener = threading.Thread(target=forward, daemon=True)
    listener.start()
    pool = ProcessPoolExecutor(workers, context, _begin_worker, (queue, begin))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)
        queue.put(None)
        listener.join()
