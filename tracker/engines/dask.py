"""Jobs on the workers of a Dask scheduler that runs already; the only door to `distributed`."""

import logging
import pickle
import uuid
import zlib
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from queue import Empty, SimpleQueue
from typing import Any

from calibration.errors import InputError
from tracker.engines.protocol import Item, Job, Report, Result

CONNECT_S = 10.0
"""Time in which the scheduler must answer, s. Common practice, no source."""
WORKERLESS_S = 60.0
"""Time without any worker after which a run is given up, s: a worker that was lost is usually
started again within seconds. Common practice, no source."""
LOOK_S = 5.0
"""How often the engine is looked at while no result comes, s. Common practice, no source."""
AHEAD = 2
"""Items a thread that the scheduler holds, so that no worker waits for the next one, and a million
items never lie there at the same time. Common practice, no source."""

WHERE = "--on"


@contextmanager
def dask_engine(
    address: str, connect_s: float = CONNECT_S, workerless_s: float = WORKERLESS_S
) -> Iterator["DaskEngine"]:
    """Give the engine behind a scheduler's address, and leave the scheduler when done.

    Parameters
    ----------
    address : str
        As the scheduler prints it, ``tcp://host:8786``.
    connect_s : float
        Time in which the scheduler must answer, s.
    workerless_s : float
        Time without any worker after which a run is given up, s.

    Raises
    ------
    InputError
        Where the library is missing, nothing answers at the address, or no worker comes.
    """
    distributed = _library()
    # What it says of lost connections reaches the person as one sentence of ours.
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        client = distributed.Client(address, timeout=connect_s, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"no Dask scheduler answers at {address} ({_first_line(error)})",
            where=WHERE,
            remedy="write the address that the scheduler prints, such as tcp://host:8786",
        ) from None
    try:
        with _answering():
            client.wait_for_workers(1, timeout=workerless_s)
        yield DaskEngine(address, client, workerless_s)
    finally:
        client.close(timeout=connect_s)


@dataclass(frozen=True)
class DaskEngine:
    """The workers of a scheduler.

    Attributes
    ----------
    address : str
    client : distributed.Client
    workerless_s : float
    """

    address: str
    client: Any
    workerless_s: float = WORKERLESS_S

    @property
    def notes(self) -> tuple[str, ...]:
        """How many workers there are, and whether their threads stay idle."""
        threads = self.client.nthreads()
        many = "1 worker" if len(threads) == 1 else f"{len(threads)} workers"
        said = [f"{many} at {self.address}."]
        if any(count > 1 for count in threads.values()):
            said.append(
                "A worker runs one job at a time, whatever its threads: start workers with "
                "--nthreads 1, one for each core."
            )
        return tuple(said)

    def run(
        self, job: Job[Item, Result], items: Sequence[Item], report: Report
    ) -> Generator[tuple[int, Result], None, None]:
        """Run a job for each item; see `tracker.engines.protocol.Engine`.

        An item whose worker is lost is given to another one; a result is fetched as soon as it is
        there, so a worker that is lost later takes nothing with it.

        Raises
        ------
        InputError
            Where the scheduler or all workers are lost, an item's workers are lost again and again,
            or a worker lacks this program.
        """
        topic = f"lobmeter-{uuid.uuid4().hex}"
        running: dict[str, tuple[int, Any]] = {}
        done: SimpleQueue[Any] = SimpleQueue()
        left = iter(enumerate(items))

        def fill() -> None:
            with _answering():
                submit()

        def submit() -> None:
            room = AHEAD * max(sum(self.client.nthreads().values()), 1) - len(running)
            for index, item in islice(left, max(room, 0)):
                packed = zlib.compress(pickle.dumps((job, item)))
                future = self.client.submit(
                    _call_by_value(), packed, topic, key=f"{topic}-{index}", pure=False
                )
                running[future.key] = (index, future)
                future.add_done_callback(done.put)

        self.client.subscribe_topic(topic, lambda event: report(pickle.loads(event[1])))
        try:
            fill()
            while running:
                index, future = running.pop(self._next(done).key)
                yield index, pickle.loads(_result_of(future))
                fill()
        finally:
            if self.client.status == "running":
                self.client.cancel([future for _, future in running.values()])
                self.client.unsubscribe_topic(topic)

    def _next(self, done: "SimpleQueue[Any]") -> Any:
        """Return the next future that is done."""
        look_s, waited_s = min(LOOK_S, self.workerless_s), 0.0
        with _answering():
            while waited_s < self.workerless_s:
                try:
                    return done.get(timeout=look_s)
                except Empty:
                    waited_s = 0.0 if self.client.nthreads() else waited_s + look_s
            raise TimeoutError


def _result_of(future: Any) -> bytes:
    """Return a result, or raise what kept it from coming."""
    from distributed.scheduler import KilledWorker

    if future.status != "error":
        with _answering():
            fetched: bytes = future.result()
            return fetched
    try:
        raise future.exception()
    except KilledWorker as error:
        raise InputError(
            "every worker that got the same clip was lost, maybe for want of memory "
            f"({_first_line(error)})",
            where=WHERE,
            remedy="give the workers more memory, or measure that session without it",
        ) from None
    except ModuleNotFoundError as error:
        raise InputError(
            f"a worker lacks a package ({error})",
            where=WHERE,
            remedy="install this version of lobmeter where the workers run",
        ) from None


@contextmanager
def _answering() -> Iterator[None]:
    """Turn a scheduler or workers that are gone into a sentence."""
    from concurrent.futures import CancelledError
    from concurrent.futures import TimeoutError as LateError

    remedy = "start them again, then the same command: what came in is kept"
    try:
        yield
    except (TimeoutError, LateError):
        raise InputError("the scheduler has no worker", where=WHERE, remedy=remedy) from None
    except CancelledError:
        raise InputError("the scheduler is gone", where=WHERE, remedy=remedy) from None
    except OSError as error:
        raise InputError(
            f"the scheduler is gone ({_first_line(error)})", where=WHERE, remedy=remedy
        ) from None


def _call_by_value() -> Callable[[bytes, str], bytes]:
    """Return the function that a worker calls.

    It is pickled by value, as a function within a function is: the scheduler, which looks into what
    it hands on, needs no Lobmeter.
    """

    def call(packed: bytes, topic: str) -> bytes:
        from tracker.engines.dask_worker import run_packed

        return run_packed(packed, topic)

    return call


def _first_line(error: BaseException) -> str:
    return str(error).partition("\n")[0].rstrip(".") or type(error).__name__


def _library() -> Any:
    try:
        import distributed
    except ModuleNotFoundError:
        raise InputError(
            "needs the package distributed",
            where=WHERE,
            remedy="install it with: pip install 'lobmeter[dask]'",
        ) from None
    return distributed
