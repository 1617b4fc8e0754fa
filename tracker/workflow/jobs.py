"""Measuring the clips of sessions side by side, each once."""

import logging
import multiprocessing
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tracker.records import Shot
from tracker.report.explanation import CandidateLog
from tracker.results import cache
from tracker.results.digests import sha256_of
from tracker.session import Session
from tracker.workflow.clips import OnShot, Progress, ReadyClip, clip_pictures, measure_ready
from tracker.workflow.measured import MeasuredClip

LOG = logging.getLogger(__name__)

Measured = tuple[MeasuredClip, CandidateLog | None]


@dataclass(frozen=True)
class Task:
    """One clip to measure.

    Attributes
    ----------
    session : Session
    ready : ReadyClip
    explained, from_anywhere : bool
        As in `MeasureOptions`.
    cache : Path or None
        Folder in which the measurement is kept; None keeps nothing.
    digests : mapping of str to str
        SHA-256 of the session's files.
    label : str
        Its name for the progress.
    """

    session: Session
    ready: ReadyClip
    explained: bool
    from_anywhere: bool
    cache: Path | None
    digests: dict[str, str]
    label: str = ""

    @property
    def key(self) -> str:
        """The key of its measurement: everything that the figures depend on."""
        session, clip = self.session, self.ready.clip
        lens = session.camera.lens
        stated = (
            clip.file,
            clip.setup,
            clip.markers,
            session.ball,
            session.air,
            session.release,
            replace(session.camera, lens=None),
            session.bare,
            self.explained,
            self.from_anywhere,
        )
        film = self.digests.get(clip.file) or sha256_of(clip.path)
        return cache.key_of([film, "" if lens is None else sha256_of(lens), repr(stated)])

    def kept(self) -> Measured | None:
        """Return its measurement where it was kept."""
        found = None if self.cache is None else cache.load(self.cache, self.key)
        if found is None:
            return None
        clip, log = found
        # Since then the session may have been moved, and its other clips been added to.
        clip = replace(clip, clip=self.ready.clip, calibration=self.ready.calibration)
        LOG.info("%s: unchanged, not measured again", self.ready.clip.file)
        return clip, log


def measured_in_order(
    tasks: Sequence[Task], progress: Progress | None, jobs: int, on_shot: OnShot | None = None
) -> Iterator[Measured]:
    """Give the measurement of each task in order; those that were kept are not measured again.

    Parameters
    ----------
    tasks : sequence of Task
    progress : callable, optional
    jobs : int
        Processes at the same time; the results are the same for any number.
    on_shot : callable, optional
    """
    kept = [task.kept() for task in tasks]
    if on_shot is not None:
        for each in (shot for one in kept if one is not None for shot in one[0].shots):
            on_shot(each.shot)
    left = sum(one is None for one in kept)
    if jobs <= 1 or left <= 1:
        for task, one in zip(tasks, kept, strict=True):
            yield one or _measure(task, progress, on_shot)
        return
    with _pool(min(jobs, left), progress, on_shot) as pool:
        futures: list[Future[Measured] | None] = [
            pool.submit(_measure_in_worker, task) if one is None else None
            for task, one in zip(tasks, kept, strict=True)
        ]
        for one, future in zip(kept, futures, strict=True):
            if one is not None:
                yield one
            elif future is not None:
                yield future.result()


def pictures_of(task: Task, clip: MeasuredClip, log: CandidateLog | None) -> dict[str, bytes]:
    """Return the pictures of a measured clip; those that were kept are not drawn again.

    Parameters
    ----------
    task : Task
    clip : MeasuredClip
        With a person's decisions applied: they are written on the pictures.
    log : CandidateLog or None
    """
    if task.cache is None:
        return clip_pictures(task.ready, clip, log)
    key = cache.key_of([task.key, "pictures", repr([one.shot for one in clip.shots])])
    found: dict[str, bytes] | None = cache.load(task.cache, key)
    if found is None:
        found = clip_pictures(task.ready, clip, log)
        cache.store(task.cache, key, found)
    return found


def _measure(task: Task, progress: Progress | None, on_shot: OnShot | None) -> Measured:
    log = CandidateLog() if task.explained else None

    def report(_: str, done: int, of: int) -> None:
        if progress is not None:
            progress(task.label, done, of)

    clip = measure_ready(task.session, task.ready, report, log, task.from_anywhere, on_shot)
    if task.cache is not None:
        cache.store(task.cache, task.key, (clip, log))
    return clip, log


_QUEUE: Any = None
"""In a worker, where its progress goes."""


def _begin_worker(queue: Any) -> None:
    global _QUEUE
    _QUEUE = queue


def _measure_in_worker(task: Task) -> Measured:
    return _measure(task, lambda *step: _QUEUE.put(step), lambda shot: _QUEUE.put(shot))


@contextmanager
def _pool(
    workers: int, progress: Progress | None, on_shot: OnShot | None
) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes whose progress and shots are reported here."""
    context = multiprocessing.get_context("spawn")
    queue = context.Queue()

    def forward() -> None:
        for step in iter(queue.get, None):
            if isinstance(step, Shot):
                if on_shot is not None:
                    on_shot(step)
            elif progress is not None:
                progress(*step)

    listener = threading.Thread(target=forward, daemon=True)
    listener.start()
    pool = ProcessPoolExecutor(workers, context, _begin_worker, (queue,))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)
        queue.put(None)
        listener.join()
