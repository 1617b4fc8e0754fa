"""A stage of a pipeline: what is made in a thread of its own while earlier things are used."""

import sys
from collections.abc import Callable, Generator, Iterator
from functools import cache
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import TypeVar

T = TypeVar("T")

MOST_BYTES = 24_000_000
"""Memory that frames which wait may take: some frames of 1080p. What lasts longer, a fit, is
bridged by candidates that wait."""

FEWEST, MOST = 2, 24
"""Frames that may wait, whatever their size."""

POLL_S = 0.05
"""How often a thread looks whether it is still wanted while it waits, s. Nobody waits for it."""

SWITCH_S = 5e-4
"""Longest time for which a thread keeps the interpreter to itself while others wait, s: a tenth of
Python's usual one, and less than a frame takes to decode."""


_in_one_thread = False
"""Whether this process decodes and makes everything in the thread that asks for it."""


def work_in_one_thread() -> None:
    """Decode, and make every stage of a pipeline, in the thread that asks for it, from now on.

    For a process that is one of as many as there are cores: its threads would take from the others
    what they give it, and a tenth more for passing the frames on.
    """
    global _in_one_thread
    _in_one_thread = True


def in_one_thread() -> bool:
    """Return whether `work_in_one_thread` was called in this process."""
    return _in_one_thread


def ahead(items: Iterator[T], most: int) -> Generator[T, None, None]:
    """Give the items in order, made by another thread that runs up to `most` of them ahead.

    An exception comes out where its item would have come. When the one who takes the items stops,
    the thread ends before this returns.

    Parameters
    ----------
    items : iterator
        Runs in the other thread from its first step to its end; a generator is closed there.
    most : int
        Items that may wait.
    """
    if _in_one_thread:
        yield from items
        return
    waiting: SimpleQueue[tuple[T | None, BaseException | None]] = SimpleQueue()
    room = _places(most)
    unwanted = Event()

    def offered(item: T | None, error: BaseException | None) -> bool:
        while not unwanted.is_set():
            try:
                room.get(timeout=POLL_S)
            except Empty:
                continue
            waiting.put((item, error))
            return True
        return False

    def work() -> None:
        try:
            for item in items:
                if not offered(item, None):
                    return
            offered(None, StopIteration())
        except BaseException as error:
            offered(None, error)
        finally:
            if isinstance(items, Generator):
                items.close()

    thread = Thread(target=work, name="ahead", daemon=True)
    before = sys.getswitchinterval()
    sys.setswitchinterval(min(before, SWITCH_S))
    thread.start()
    try:
        while True:
            item, error = _next(waiting, thread)
            room.put(None)
            if isinstance(error, StopIteration):
                return
            if error is not None:
                raise error
            yield item  # type: ignore[misc]
    finally:
        unwanted.set()
        thread.join()
        sys.setswitchinterval(before)


def begun(make: Callable[[], T]) -> Callable[[], T]:
    """Begin to make something in another thread; return what waits for it and gives it.

    It gives the same thing each time. An exception comes out where it is first asked for.
    """
    made: SimpleQueue[tuple[T | None, BaseException | None]] = SimpleQueue()

    def work() -> None:
        try:
            made.put((make(), None))
        except BaseException as error:
            made.put((None, error))

    thread = Thread(target=work, name="begun", daemon=True)
    if _in_one_thread:
        work()
    else:
        thread.start()
    return cache(lambda: _given(_next(made, thread)))


def _given(made: tuple[T | None, BaseException | None]) -> T:
    """Return what was made, or raise what came instead."""
    found, error = made
    if error is not None:
        raise error
    return found  # type: ignore[return-value]


def _places(most: int) -> SimpleQueue[None]:
    """Return a queue of as many free places as items may wait.

    A queue with a bound of its own passes an item on by several locks, one after the other.
    """
    room: SimpleQueue[None] = SimpleQueue()
    for _ in range(most):
        room.put(None)
    return room


def _next(
    waiting: "SimpleQueue[tuple[T | None, BaseException | None]]", thread: Thread
) -> tuple[T | None, BaseException | None]:
    """Return what comes next, also where the thread was killed with its interpreter."""
    while True:
        try:
            return waiting.get(timeout=1.0)
        except Empty:
            if not thread.is_alive() and waiting.empty():
                return None, RuntimeError("a stage of the pipeline ended without a word")


def frames_ahead(size_px: tuple[int, int]) -> int:
    """Return how many frames of a size may wait: luma and both colour differences at half size."""
    frame_bytes = 3 * size_px[0] * size_px[1] // 2
    return max(FEWEST, min(MOST, MOST_BYTES // max(frame_bytes, 1)))
