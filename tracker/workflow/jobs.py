"""Measuring the clips of sessions side by side, each once."""

import logging
import platform
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from calibration.errors import InputError
from tracker.engines import Engine, Report
from tracker.records import Shot
from tracker.report.explanation import CandidateLog, log_of
from tracker.results import cache
from tracker.results.digests import sha256_of
from tracker.session import Session
from tracker.workflow.clips import OnShot, Progress, ReadyClip, clip_pictures, measure_ready
from tracker.workflow.measured import MeasuredClip

LOG = logging.getLogger(__name__)

OnCount = Callable[[int, int], None]
"""Called with how many clips are measured, and how many there are, as each one comes in."""


@dataclass(frozen=True)
class Listeners:
    """Who hears of clips while they are measured.

    Attributes
    ----------
    progress : callable or None
    on_shot : callable or None
    on_count : callable or None
    """

    progress: Progress | None = None
    on_shot: OnShot | None = None
    on_count: OnCount | None = None

    def hear(self, said: Any) -> None:
        """Pass on what a job reports: a shot, or how much of a clip is done."""
        if isinstance(said, Shot):
            if self.on_shot is not None:
                self.on_shot(said)
        elif self.progress is not None:
            self.progress(*said)


@dataclass(frozen=True)
class Measured:
    """The measurement of one clip, without a person's decisions.

    Attributes
    ----------
    clip : MeasuredClip
    log : CandidateLog or None
        Its candidates, where they are to be explained or no shot was found.
    pictures : dict of str to bytes, or None
        By the ending of their names; None where they are kept elsewhere.
    """

    clip: MeasuredClip
    log: CandidateLog | None
    pictures: dict[str, bytes] | None = None


def _program() -> str:
    return cache.program_digest()


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
    program : str
        Digest of the program that is to measure it.
    """

    session: Session
    ready: ReadyClip
    explained: bool
    from_anywhere: bool
    cache: Path | None
    digests: dict[str, str]
    label: str = ""
    program: str = field(default_factory=_program)

    @property
    def key(self) -> str:
        """The key of its measurement: everything that the figures depend on."""
        session, clip = self.session, self.ready.clip
        lens = session.camera.lens
        stated = (
            clip.file,
            clip.markers,
            self.ready.moved,
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
        # Since then the session may have been moved, its other clips been added to, and this one
        # been said to show another setup, of which the measurement knows nothing.
        from tracker.measurement.fitted_shot import in_setup

        shots = tuple(in_setup(one, self.ready.clip.setup) for one in clip.shots)
        clip = replace(clip, clip=self.ready.clip, calibration=self.ready.calibration, shots=shots)
        LOG.info("%s: unchanged, not measured again", self.ready.clip.file)
        return Measured(clip, log)

    def keep(self, measured: Measured) -> None:
        """Keep its measurement and the pictures of it."""
        if self.cache is None:
            return
        cache.store(self.cache, self.key, (measured.clip, measured.log))
        if measured.pictures is not None:
            cache.store(self.cache, self.picture_key(measured.clip), measured.pictures)

    def picture_key(self, clip: MeasuredClip) -> str:
        """Return the key of its pictures, which show its rows as a person's decisions have them."""
        shown = ([one.shot for one in clip.shots], clip.causes)
        return cache.key_of([self.key, "pictures", repr(shown)])


def measured_in_order(
    tasks: Sequence[Task], engine: Engine, listeners: Listeners = Listeners()
) -> Generator[Measured, None, None]:
    """Give the measurement of each task in order; those that were kept are not measured again.

    Parameters
    ----------
    tasks : sequence of Task
    engine : Engine
        The results are the same for any.
    listeners : Listeners
    """
    found = {at: one for at, task in enumerate(tasks) if (one := task.kept()) is not None}
    for each in (shot for one in found.values() for shot in one.clip.shots):
        listeners.hear(each.shot)
    left = [at for at in range(len(tasks)) if at not in found]
    for task in (tasks[at] for at in left):
        # Whoever waits sees at once what is to be done, long before the first part of it is.
        listeners.hear((task.label, 0, task.ready.facts.frame_count))
    done = len(found)
    with closing(engine.run(measure_task, [tasks[at] for at in left], listeners.hear)) as coming:
        for at in range(len(tasks)):
            while at not in found:
                index, measured = next(coming)
                tasks[left[index]].keep(measured)
                found[left[index]] = measured
                done += 1
                if listeners.on_count is not None:
                    listeners.on_count(done, len(tasks))
            yield found.pop(at)


def measure_task(task: Task, report: Report) -> Measured:
    """Measure one clip and draw its pictures, wherever this runs; keep nothing.

    Parameters
    ----------
    task : Task
    report : callable
        Gets its label with how many frames are done and how many there are, and every shot's row.

    Raises
    ------
    InputError
        Where the clip cannot be seen from here, or another program runs here than the one asking.
    """
    path = task.ready.clip.path
    if not path.is_file():
        raise InputError(
            f"cannot be seen from {platform.node()}, where it is to be measured",
            where=str(path),
            remedy="put it where every worker sees it under the same path",
        )
    if task.program != cache.program_digest():
        raise InputError(
            f"another version of lobmeter, or of what it computes with, runs on {platform.node()}",
            where=task.label,
            remedy="install the same versions of lobmeter, "
            f"{', '.join(cache.LIBRARIES)} everywhere",
        )
    log = log_of(task.ready.facts)
    step = _Steps(task.label, report)
    clip = measure_ready(task.session, task.ready, step, log, task.from_anywhere, report)
    # A clip that yields no shot is explained unasked.
    kept = log if task.explained or clip.causes else None
    pictures = clip_pictures(task.ready, clip, kept, log.close_ups)
    log.drop_pictures()
    return Measured(clip, kept, pictures)


def pictures_of(task: Task, measured: Measured, clip: MeasuredClip) -> dict[str, bytes]:
    """Return the pictures of a measured clip; those that were kept are not drawn again.

    Parameters
    ----------
    task : Task
    measured : Measured
    clip : MeasuredClip
        With a person's decisions applied: they are written on the pictures.
    """
    drawn = measured.clip
    undecided = [one.shot for one in clip.shots] == [one.shot for one in drawn.shots]
    if measured.pictures is not None and undecided and clip.causes == drawn.causes:
        return measured.pictures
    if task.cache is None:
        return clip_pictures(task.ready, clip, measured.log)
    key = task.picture_key(clip)
    found: dict[str, bytes] | None = cache.load(task.cache, key)
    if found is None:
        found = clip_pictures(task.ready, clip, measured.log)
        cache.store(task.cache, key, found)
    return found


STEPS = 50
"""Parts of a clip that its progress is reported by: the workers of many clips report to one place.
Common practice, no source."""


class _Steps:
    """Reports a clip's progress in steps that can be seen.

    Parameters
    ----------
    label : str
    report : callable
    """

    def __init__(self, label: str, report: Report) -> None:
        self._label, self._report, self._last = label, report, -1

    def __call__(self, _: str, done: int, of: int) -> None:
        step = STEPS * done // max(of, 1)
        if step != self._last:
            self._last = step
            self._report((self._label, done, of))
