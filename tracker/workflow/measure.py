"""``lobmeter measure``: a session from its folder to its results."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tracker.engines import Engine, LocalEngine
from tracker.engines.dask import dask_engine
from tracker.session import Session, read_review
from tracker.workflow.clips import OnShot, Progress, ready_clips
from tracker.workflow.finishing import finished
from tracker.workflow.inputs import (
    BareOptions,
    filmed_digests,
    made_of_each,
    read_all,
    stated_digests,
)
from tracker.workflow.jobs import (
    Listeners,
    OnCount,
    Task,
    measured_in_order,
)
from tracker.workflow.measured import SessionResult
from tracker.workflow.preloading import MEASURING


@dataclass(frozen=True)
class MeasureOptions:
    """How a session is measured.

    Attributes
    ----------
    explained : bool
        Whether pictures are drawn that show why each shot was accepted.
    from_anywhere : bool
        Whether shots may start elsewhere than at the release point.
    bare : BareOptions
        For a video file without a session.
    jobs : int
        Clips that are measured at the same time; the results are the same for any number.
    cache : Path or None
        Folder in which measurements are kept; None measures every clip.
    on_shot : callable or None
        Called with every shot as soon as it is measured.
    scheduler : str or None
        Address of a Dask scheduler on whose workers the clips are measured instead, with the same
        results. They need to see the clips under the same paths.
    on_count : callable or None
        Called with how many clips are measured, and how many there are.
    on_note : callable or None
        Called with sentences before the clips are measured: where they are, and which of them have
        the picks of another view.
    """

    explained: bool = False
    from_anywhere: bool = False
    bare: BareOptions = field(default_factory=BareOptions)
    jobs: int = 1
    cache: Path | None = None
    on_shot: OnShot | None = None
    scheduler: str | None = None
    on_count: OnCount | None = None
    on_note: Callable[[str], None] | None = None


def measure_session(
    folder: Path,
    progress: Progress | None = None,
    options: MeasureOptions = MeasureOptions(),
) -> SessionResult:
    """Measure one session; see `measure_sessions`."""
    (result,) = measure_sessions([folder], progress, options)
    return result


def measure_sessions(
    folders: Sequence[Path],
    progress: Progress | None = None,
    options: MeasureOptions = MeasureOptions(),
) -> Iterator[SessionResult]:
    """Measure every clip of the sessions, apply a person's decisions, and write the results.

    A clip is measured again only where it, what the session states of it, the options or the
    program changed. The results of an earlier run stay as they are until the new ones are complete.

    Parameters
    ----------
    folders : sequence of Path
        Folders of sessions, or video files without a session.
    progress : callable, optional
    options : MeasureOptions

    Yields
    ------
    SessionResult
        In order, as soon as it is written.

    Raises
    ------
    InputErrors
        With every fault of the session files, or of the clips, at once.
    """
    listeners = Listeners(progress, options.on_shot, options.on_count)
    with _engine(options) as engine:
        if options.scheduler is not None:
            folders = [folder.absolute() for folder in folders]
        sessions = read_all(folders, options.bare)
        reviews = [read_review(session) for session in sessions]
        tasks = _all_tasks(sessions, options)
        for moved in (one.ready.moved for each in tasks for one in each):
            if moved is not None and options.on_note is not None:
                options.on_note(moved.sentence)
        every = [one for each in tasks for one in each]
        with closing(measured_in_order(every, engine, listeners)) as measured:
            for session, review, mine in zip(sessions, reviews, tasks, strict=True):
                yield finished(session, review, mine, [next(measured) for _ in mine])


def _begin_alone() -> None:
    """Make a process that measures beside others do without threads of its own."""
    from tracker.video import work_in_one_thread

    work_in_one_thread()


@contextmanager
def _engine(options: MeasureOptions) -> Iterator[Engine]:
    """Give what measures the clips."""
    if options.scheduler is None:
        yield LocalEngine(options.jobs, modules=MEASURING, begin=_begin_alone)
        return
    with dask_engine(options.scheduler) as engine:
        if options.on_note is not None:
            for note in engine.notes:
                options.on_note(note)
        yield engine


def _all_tasks(sessions: Sequence[Session], options: MeasureOptions) -> list[list[Task]]:
    """Return the clips of each session, inspected and calibrated, as they are to be measured."""
    from tracker.video import begun

    # At once: a person may go on writing while the clips of many sessions are hashed.
    stated = [stated_digests(session) for session in sessions]
    # Clips are hashed while they are inspected and calibrated: a hash needs no interpreter.
    hashed = begun(lambda: [filmed_digests(session) for session in sessions])
    clips = made_of_each(ready_clips, sessions)
    found: list[list[Task]] = []
    for session, ready, known, filmed in zip(sessions, clips, stated, hashed(), strict=True):
        before = f"{session.name}: " if len(sessions) > 1 else ""
        common = (options.explained, options.from_anywhere, options.cache, known | filmed)
        found.append([Task(session, one, *common, f"{before}{one.clip.file}") for one in ready])
    return found
