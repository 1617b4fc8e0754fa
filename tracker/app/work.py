"""Long work in processes of its own: progress, results as they come, cancel.

A worker ends itself, with the processes that it started, when it is cancelled and when the server
that started it is gone. Whatever it writes is written whole or not at all, so it may end anywhere.
"""

import logging
import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from multiprocessing.connection import Connection
from typing import Any

from calibration.errors import InputError
from tracker.engines import process_context
from tracker.workflow.preloading import MEASURING

LOG = logging.getLogger(__name__)

NICENESS = 10
"""How far a worker steps back for the page, where the system knows such a thing. Common practice,
no source."""
LEAST_SHARE = 0.03
"""Share of the work after which its pace is known well enough to state the time left. Common
practice, no source."""
GRACE_S = 3.0
"""Time in which a cancelled worker must end, s. Common practice, no source."""


class Phase(StrEnum):
    """Where a piece of work stands."""

    RUNNING = "running"
    DONE = "done"
    CANCELLED = "cancelled"
    FAILED = "failed"


class Messenger:
    """In the worker: what it reports to the page."""

    def __init__(self, channel: Connection) -> None:
        self._channel = channel
        self._lock = threading.Lock()

    def progress(self, label: str, done: int, of: int) -> None:
        """Report how much of one part is done."""
        self._send(("progress", (label, done, of)))

    def stage(self, words: str) -> None:
        """Report what is done before there is a part to count."""
        self._send(("stage", words))

    def arrived(self, item: Any) -> None:
        """Hand over a result that is ready before the rest."""
        self._send(("arrived", item))

    def finish(self, kind: str, value: Any) -> None:
        """Report the end."""
        self._send((kind, value))

    def _send(self, message: tuple[str, Any]) -> None:
        with self._lock:
            self._channel.send(message)


@dataclass
class Work:
    """One piece of work, as the page sees it.

    Attributes
    ----------
    what : str
        In words.
    phase : Phase
    stage : str
        What is done before there is progress.
    progress : dict
        By part, how much is done and how much there is.
    arrived : list
        Results so far.
    looks : int
        How often a part began anew: a clip may be gone through a second time, more closely.
    result : object
        What the function returned.
    faults : tuple of str
        Sentences, where it failed.
    started_s : float
        By `time.monotonic`.
    ended_s : float or None
    """

    what: str
    phase: Phase = Phase.RUNNING
    stage: str = "starting"
    progress: dict[str, tuple[int, int]] = field(default_factory=dict)
    arrived: list[Any] = field(default_factory=list)
    looks: int = 1
    result: Any = None
    faults: tuple[str, ...] = ()
    started_s: float = field(default_factory=time.monotonic)
    ended_s: float | None = None
    _began: tuple[float, float] = (0.0, 0.0)
    _cancel: Callable[[], None] = lambda: None

    @property
    def share(self) -> float:
        """Share of the work that is done, 0 to 1, every part given the weight of its size."""
        total = sum(of for _, of in self.progress.values())
        return sum(done for done, _ in self.progress.values()) / total if total else 0.0

    @property
    def left_s(self) -> float | None:
        """Time left of this look at its pace so far, s; None before there is a pace."""
        began_s, from_share = self._began
        gone = self.share - from_share
        passed = time.monotonic() - (began_s or self.started_s)
        return passed * (1.0 - self.share) / gone if gone > LEAST_SHARE else None

    def report(self, label: str, done: int, of: int) -> None:
        """Take how much of a part is done."""
        again = done < self.progress.get(label, (0, 0))[0]
        self.progress[label] = (done, of)
        if again:
            self.looks += 1
        if again or not self._began[0]:
            self._began = (time.monotonic(), self.share)

    def cancel(self) -> None:
        """End the work; what was there before is as it was."""
        if self.phase is Phase.RUNNING:
            self.phase = Phase.CANCELLED
            self._cancel()


def start(what: str, function: Callable[..., Any], *given: Any) -> Work:
    """Start `function(messenger, *given)` in a process of its own.

    Parameters
    ----------
    what : str
        In words.
    function : callable
        A module's function that imports no page; gets a `Messenger` first.
    *given
        Plain data.
    """
    # Most work measures: workers are made from a process that has imported what that needs.
    context: Any = process_context(("tracker.app.tasks", *MEASURING))
    here, there = context.Pipe()
    process = context.Process(target=_run, args=(there, function, given))
    work = Work(what, _cancel=lambda: _stop(here, process))
    process.start()
    there.close()
    threading.Thread(target=_listen, args=(work, here, process), daemon=True).start()
    return work


def _listen(work: Work, channel: Connection, process: Any) -> None:
    """Take a worker's messages until it ends."""
    try:
        while work.phase is Phase.RUNNING:
            kind, value = channel.recv()
            if kind == "progress":
                work.report(*value)
            elif kind == "stage":
                work.stage = value
            elif kind == "arrived":
                work.arrived.append(value)
            else:
                work.result = value if kind == "done" else None
                work.faults = () if kind == "done" else value
                work.ended_s = time.monotonic()
                work.phase = Phase.DONE if kind == "done" else Phase.FAILED
    except (EOFError, OSError):
        if work.phase is Phase.RUNNING:
            work.faults = ("The work was ended from outside; start it again.",)
            work.phase = Phase.FAILED
    work.ended_s = work.ended_s or time.monotonic()
    process.join(GRACE_S)
    channel.close()


def _stop(channel: Connection, process: Any) -> None:
    """Ask a worker to end, and make it."""

    def wait() -> None:
        process.join(GRACE_S)
        if process.is_alive():
            process.kill()

    with suppress(OSError):
        channel.send("cancel")
    threading.Thread(target=wait, daemon=True).start()


def _run(channel: Connection, function: Callable[..., Any], given: tuple[Any, ...]) -> None:
    """In the worker: do the work and report its end."""
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    threading.Thread(target=_leave_when_asked, args=(channel,), daemon=True).start()
    messenger = Messenger(channel)
    try:
        messenger.finish("done", function(messenger, *given))
    except InputError as error:
        messenger.finish("failed", tuple(error.sentences()))
    except Exception as error:
        LOG.exception("work failed")
        said = f"The program failed ({type(error).__name__}: {error}). Nothing was changed."
        messenger.finish("failed", (said,))


def _leave_when_asked(channel: Connection) -> None:
    """End this process and those it started when asked to, or when nobody listens any more."""
    with suppress(EOFError, OSError):
        channel.recv()
    for child in multiprocessing.active_children():
        child.terminate()
    os._exit(130)
