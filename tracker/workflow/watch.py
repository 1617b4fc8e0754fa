"""``lobmeter watch``: clips are measured as they appear in a folder, and put into the logbook."""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

from calibration.errors import InputError
from tracker.logbook import Added
from tracker.results import RESULTS, alone, read_provenance
from tracker.results.digests import sha256_of
from tracker.session import SESSION_FILE, Session
from tracker.workflow.clips import Progress, ready_clips
from tracker.workflow.entering import Entered, enter
from tracker.workflow.inputs import inspected, results_of, session_at
from tracker.workflow.measure import MeasureOptions, measure_sessions
from tracker.workflow.measured import SessionResult
from tracker.workflow.own_session import own_session
from tracker.workflow.settling import Settling

EVERY_S = 5.0
"""Time between two looks, s; a clip has settled when nothing changed between two. Common practice,
no source."""


@dataclass(frozen=True)
class WatchOptions:
    """How a folder is watched.

    Attributes
    ----------
    measure : MeasureOptions
    logbook : str or None
        Which logbook; the person's own where it is None.
    once : bool
        Whether to end when what is there is measured.
    every_s : float
        Time between two looks, s.
    wait : callable
        Waits for so many seconds.
    """

    measure: MeasureOptions = field(default_factory=MeasureOptions)
    logbook: str | None = None
    once: bool = False
    every_s: float = EVERY_S
    wait: Callable[[float], None] = time.sleep


@dataclass(frozen=True)
class Outcome:
    """What became of one clip.

    Attributes
    ----------
    clip : Path
    result : SessionResult or None
        Its measurement.
    entered : Entered or None
        What the logbook did with it.
    same_as : Path or None
        Results of the same film, which was measured before.
    faults : tuple of str
        Sentences on what kept it from being measured or logged.
    """

    clip: Path
    result: SessionResult | None = None
    entered: Entered | None = None
    same_as: Path | None = None
    faults: tuple[str, ...] = ()

    @property
    def needs_look(self) -> bool:
        """Whether a person should look at something."""
        return bool(self.faults) or (self.result is not None and self.result.needs_look)


def watched(
    folder: Path, progress: Progress | None = None, options: WatchOptions = WatchOptions()
) -> Iterator[Outcome]:
    """Measure clips as they appear in a folder, each film once, and put them into the logbook.

    Where the folder holds a ``session.toml``, each clip gets a session of its own from it, in a
    folder of the clip's name; else it is measured as a video file without a session. A clip whose
    results are there was measured by an earlier run.

    Parameters
    ----------
    folder : Path
    progress : callable, optional
    options : WatchOptions

    Yields
    ------
    Outcome
        As soon as it is known; a clip that stays in the way of being measured yields one, and a
        further one when it has changed.

    Raises
    ------
    InputError
        Where there is no such folder, its ``session.toml`` has faults, or it is watched already.
    """
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise InputError(what, where=str(folder), remedy="give the folder that clips are put into")
    has_session = (folder / SESSION_FILE).is_file()
    if has_session:
        session_at(folder, options.measure.bare, filmed=False)
    with alone(folder, "another lobmeter watch looks into this folder", 0.0, "watch"):
        yield from _looks(folder, has_session, progress, options)


def _looks(
    folder: Path, has_session: bool, progress: Progress | None, options: WatchOptions
) -> Iterator[Outcome]:
    """Look into a folder again and again, or until all is measured."""
    patience = 1 if options.once else Settling.patience
    watch = _Watch(Settling(folder, patience), has_session, progress, options)
    while True:
        yield from watch.look()
        if options.once and not watch.settling.open:
            return
        options.wait(options.every_s)
        if options.once:
            yield from watch.look()
            yield from (
                Outcome(clip, faults=(f"{clip.name} is still changing; it was left out.",))
                for clip in watch.settling.open
            )
            return


class _New(NamedTuple):
    """A film that was not measured yet: its file, where it is to be measured, and its SHA-256."""

    clip: Path
    place: Path
    digest: str


@dataclass
class _Watch:
    """One watched folder."""

    settling: Settling
    has_session: bool
    progress: Progress | None
    options: WatchOptions
    _unlogged: dict[Path, Session] = field(default_factory=dict)
    _films: dict[str, Path] = field(init=False)
    _lost: bool = False

    def __post_init__(self) -> None:
        self._films = films_in(self.settling.folder)

    def look(self) -> Iterator[Outcome]:
        """Look into the folder once; measure and log what has settled."""
        try:
            clips = self.settling.look()
        except OSError as error:
            yield from self._unreachable(error)
            return
        self._lost = False
        for clip, session in list(self._unlogged.items()):
            yield from self._logged(Outcome(clip), session)
        new: list[_New] = []
        for clip in clips:
            yield from self._sorted_in(clip, new)
        yield from self._measured(new)

    def _unreachable(self, error: OSError) -> Iterator[Outcome]:
        """Say once that the folder is gone, as that of a drive is for a while."""
        if not self._lost:
            self._lost = True
            folder = self.settling.folder
            yield Outcome(folder, faults=_sentences(folder, error))

    def _sorted_in(self, clip: Path, new: list[_New]) -> Iterator[Outcome]:
        """Find out what a settled clip is: unreadable, measured before, or new.

        Parameters
        ----------
        clip : Path
        new : list
            Gets the clip when it is new.
        """
        try:
            bare = session_at(clip, self.options.measure.bare)
            inspected(bare, bare.clips[0])
            digest = sha256_of(clip)
            place = own_session(self.settling.folder, clip) if self.has_session else clip
            session = session_at(place, self.options.measure.bare)
            ready_clips(session)
        except (InputError, OSError) as error:
            yield from self._refused(clip, error)
            return
        results, earlier = results_of(session), self._films.get(digest)
        self._films.setdefault(digest, results)
        if earlier is None:
            new.append(_New(clip, place, digest))
            return
        self.settling.finish(clip)
        if earlier != results:
            yield Outcome(clip, same_as=earlier)
            return
        for outcome in self._logged(Outcome(clip), session):
            if outcome.entered is None or outcome.entered.done is not Added.UNCHANGED:
                yield outcome

    def _refused(self, clip: Path, error: InputError | OSError) -> Iterator[Outcome]:
        """Say once why a clip is not measured, when it will hardly change any more."""
        if not self.settling.exhausted(clip):
            return
        self.settling.finish(clip)
        yield Outcome(clip, faults=_sentences(clip, error))

    def _measured(self, new: Sequence[_New]) -> Iterator[Outcome]:
        """Measure clips side by side; where one fails, one after another, so that none is lost."""
        left = list(new)
        places = [each.place for each in new]
        try:
            for result in measure_sessions(places, self.progress, self.options.measure):
                clip = left.pop(0).clip
                self.settling.finish(clip)
                yield from self._logged(Outcome(clip, result), result.session)
        except (InputError, OSError) as error:
            if len(left) > 1:
                for each in left:
                    yield from self._measured([each])
                return
            for each in left:
                # Put there once more, as when the disk has room again, it is measured.
                del self._films[each.digest]
                self.settling.finish(each.clip)
                yield Outcome(each.clip, faults=_sentences(each.clip, error))

    def _logged(self, outcome: Outcome, session: Session) -> Iterator[Outcome]:
        """Put a clip's session into the logbook; what it does not take now it gets later."""
        try:
            entered = enter(session, self.options.logbook)
        except InputError as error:
            known = outcome.clip in self._unlogged
            self._unlogged[outcome.clip] = session
            if outcome.result is not None or not known:
                yield replace(outcome, faults=tuple(error.sentences()))
            return
        self._unlogged.pop(outcome.clip, None)
        yield replace(outcome, entered=entered)


def films_in(folder: Path) -> dict[str, Path]:
    """Return the SHA-256 of every file that results in a folder state, with the results.

    Parameters
    ----------
    folder : Path
        Of a session, or one in which sessions and video files lie.
    """
    patterns = (f"{RESULTS}/", f"*/{RESULTS}/", f"*-{RESULTS}/")
    found = [path.parent for each in patterns for path in folder.glob(f"{each}shots.json")]
    return {
        digest: results
        for results in sorted(found)
        for digest in read_provenance(results / "shots.json").inputs.values()
    }


def _sentences(path: Path, error: InputError | OSError) -> tuple[str, ...]:
    """Return what a person reads of an error, with the name of what it concerns."""
    if isinstance(error, InputError):
        said = error.sentences()
        return tuple(one if path.name in one else f"{path.name}: {one}" for one in said)
    reason = (error.strerror or "unknown").lower()
    return (f"{path}: cannot be read ({reason}); check its rights and its drive.",)
