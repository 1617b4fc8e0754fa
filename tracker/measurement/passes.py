"""The loop over a clip's frames, for every pass: decoded, steadied, searched for candidates."""

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, TimeBase, true_times_s
from tracker.detection import CandidateFinder, SearchSettings
from tracker.measurement.close_ups import CloseUps, Squares, shown_every
from tracker.measurement.context import frame_interval_s
from tracker.measurement.pages import keep_pages
from tracker.measurement.renewals import Renewals
from tracker.measurement.steadying import Led, Steadier
from tracker.records import Candidates, MeasuredShot, Reason, ReasonCode, RejectedCandidate
from tracker.video import ChangeMeter, ClipFacts, Frame, Shown, ahead, frames, frames_ahead

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]
Progress = Callable[[int, int], None]

PROGRESS_EVERY = 8
"""Frames between two reports of progress."""

CANDIDATES_AHEAD = 4, 32
"""Frames whose candidates may wait, over those that may wait themselves, and most of them: they
take a tenth of the memory, and bridge the time in which flights are decided on."""

MOST_LOST_SHARE = 0.05
"""Share of the frames without a known motion of the camera above which a clip's shots are doubted.
Common practice, no source."""

BLIND_NOTE = "The background shows too few points, so a motion of the camera would go unnoticed."

MOVED_NOTE = "The camera moved during the clip; its motion is taken out where it was followed."


@dataclass(frozen=True)
class Observers:
    """Who is informed during a pass.

    Attributes
    ----------
    progress : callable, optional
        Called with the number of frames done and the number there are.
    on_candidates : callable, optional
        Called with the candidates of every frame of the first pass of those that go together.
    on_shot : callable, optional
        Called with every shot as soon as it is measured, not yet numbered.
    on_frame : callable, optional
        Called, in the thread that decodes, with every frame of the first pass.
    close_ups : CloseUps, optional
        Keeps what pictures show of the shots that the first pass finds.
    """

    progress: Progress | None = None
    on_candidates: Callable[[Candidates], None] | None = None
    on_shot: Callable[[MeasuredShot], None] | None = None
    on_frame: Callable[[Frame], None] | None = None
    close_ups: CloseUps | None = None

    def found(self, each: MeasuredShot | RejectedCandidate) -> None:
        """Report a shot as soon as it is measured; the rest of the clip may still change it."""
        if self.on_shot is not None and isinstance(each, MeasuredShot):
            self.on_shot(each)

    @property
    def progress_only(self) -> "Observers":
        """The observers of a later pass."""
        return Observers(self.progress)


NO_OBSERVERS = Observers()


@dataclass(frozen=True)
class Timing:
    """The times of a clip's frames.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        True time of every frame.
    base_s : ndarray, shape (N,)
        The same on the file's own clock, corrected where it was wrong.
    repeats : ndarray of bool, shape (N,), or None
        Frames that repeat the picture before them.
    """

    times_s: Array
    base_s: Array
    repeats: NDArray[np.bool_] | None = None

    @staticmethod
    def of_file(facts: ClipFacts) -> "Timing":
        """Return the times that the file states."""
        return Timing(facts.times_s, facts.file_times_s)

    @staticmethod
    def corrected(facts: ClipFacts, base: TimeBase) -> "Timing":
        """Return the times after a correction."""
        assert base.cadence is Cadence.MENDED
        return Timing(true_times_s(base.times_s, facts.pace), base.times_s, base.repeats)

    def file_clock_s(self, release_s: float, facts: ClipFacts) -> float:
        """Return a time of the corrected file clock on the file's own clock."""
        if self.repeats is None:
            return release_s
        return float(np.interp(release_s, self.base_s, facts.file_times_s))


@dataclass
class FramePass:
    """One pass through a clip.

    Attributes
    ----------
    facts : ClipFacts
    camera : Camera
        Any camera with about the true focal length, for the correction of its motion.
    settings : SearchSettings
    timing : Timing
    every : int
        Only each frame of this number is looked at.
    meter : ChangeMeter or None
        Measures the changes between all frames, to check the file's times.
    wanted : callable, optional
        Tells by its true time whether a frame is searched for candidates.
    span : tuple of int or None
        First and last index of the only frames that are read.
    also : callable, optional
        Is given index, true time, luma and blue difference, steadied, of every frame searched.
    cutouts : bool
        Whether candidates come with their cutouts, and with what the frame is like beside them.
    while_still : bool
        Whether the pass stops where the camera moves.
    stopped : bool
        No further frame is looked at. May be set while the pass runs.
    narrowed : bool
        No further candidate beyond the window is wanted. May be set while the pass runs.
    side_px : int
        Side of the squares in colour with which candidates come that pictures show; 0 for none.
    moves : bool
        Afterwards: whether the camera moved.
    lost_share : float
        Afterwards: share of the frames looked at in which its motion could not be followed.
    refined : Camera or None
        Afterwards: the camera as the motion of its background has corrected it.
    renewals : Renewals
        When frames are held against a new one.
    lost_s : list of float
        Afterwards: true times of the frames in which its motion could not be followed.
    sound : int
        Afterwards: frames that came undamaged.
    notes : list of str
        Afterwards: what the decoder and the correction of motion reported.
    """

    facts: ClipFacts
    camera: Camera
    settings: SearchSettings
    timing: Timing
    every: int = 1
    meter: ChangeMeter | None = None
    wanted: Callable[[float], bool] | None = None
    span: tuple[int, int] | None = None
    also: Callable[[int, float, Codes, Codes | None], None] | None = None
    cutouts: bool = True
    while_still: bool = False
    stopped: bool = False
    narrowed: bool = False
    side_px: int = 0
    moves: bool = False
    lost_share: float = 0.0
    refined: Camera | None = None
    renewals: Renewals = field(default_factory=Renewals)
    lost_s: list[float] = field(default_factory=list)
    sound: int = 0
    notes: list[str] = field(default_factory=list)

    def doubts(self) -> list[Reason]:
        """Return, after the pass, what makes every shot of the clip doubtful."""
        doubt = Reason(ReasonCode.CAMERA_LOST, {"percent": 100.0 * self.lost_share})
        return [doubt] if self.lost_share > MOST_LOST_SHARE else []

    def candidates(self, observers: Observers = NO_OBSERVERS) -> Iterator[Candidates]:
        """Give the candidates of frame after frame, in the still camera's pixels.

        Frames are decoded and searched in threads of their own, while earlier candidates are used.
        """
        with closing(passed_together([self], observers)) as found:
            for _, candidates in found:
                yield candidates

    def _steadier(self) -> Steadier:
        """Return what takes the camera's motion out of the frames of this pass."""
        facts = self.facts
        step_s = self.every * frame_interval_s(facts)
        beginning = partial(_beginning, facts, self.every)
        drawn = _drawn(self.settings)
        steadier = Steadier(self.camera, step_s, facts.rotation_deg, beginning, drawn)
        if self.span is not None and self.span[0] > 0:
            # The camera is that of the clip's first frame.
            steadier.begin(next(beginning()))
        return steadier

    def _view(self, frame: Frame, steadier: Steadier | Led) -> "_View | None":
        """Return a frame as the still camera would have seen it, None where it is not searched."""
        if self.meter is not None:
            self.meter.see(frame)
        self.sound += not frame.suspect
        if self.stopped:
            return None
        repeats = self.timing.repeats is not None and self.timing.repeats[frame.index]
        if frame.index % self.every or repeats:
            return None
        time_s = float(self.timing.times_s[frame.index])
        if self.renewals.due(time_s, steadier.lost):
            steadier.renew(frame.luma)
        luma, blueness = steadier.see(frame.index, frame.luma, frame.blueness)
        if steadier.lost:
            self.lost_s.append(time_s)
        if steadier.moves and self.while_still:
            self.stopped = True
            return None
        wanted = self.wanted is None or self.wanted(time_s)
        shown = frame.shown if self.side_px else None
        return _View(frame.index, time_s, luma, blueness, shown) if wanted else None

    def _found(
        self,
        view: "_View | None",
        finder: CandidateFinder,
        steadier: Steadier | Led,
        squares: Squares,
    ) -> list[Candidates]:
        """Return the candidates that are ready with a frame, in the still camera's pixels."""
        if view is None:
            return []
        if self.narrowed:
            finder.narrow()
        if self.also is not None:
            self.also(view.index, view.time_s, view.luma, view.blueness)
        if view.shown is not None:
            squares.see(view.index, view.shown)
        found = finder.push(view.index, view.time_s, view.luma, view.blueness)
        return [steadier.steadied(squares.given(each)) for each in found]


@dataclass(frozen=True)
class _View:
    """A frame as the still camera would have seen it."""

    index: int
    time_s: float
    luma: Codes
    blueness: Codes | None
    shown: Shown | None


def passed_together(
    passes: Sequence[FramePass], observers: Observers = NO_OBSERVERS
) -> Generator[tuple[int, Candidates], None, None]:
    """Give the candidates of several passes through one clip, whose frames are decoded once.

    Parameters
    ----------
    passes : sequence of FramePass
        Of one file and one span; its pace, and all else, may differ.
    observers : Observers

    Yields
    ------
    tuple
        Place of the pass among `passes`, and the candidates of a frame, as of
        `FramePass.candidates`.
    """
    # The stages keep the cores busy; OpenCV's own threads would only take from them.
    cv2.setNumThreads(1)
    keep_pages()
    facts = passes[0].facts
    steadiers = _steadiers(passes)
    most = frames_ahead(facts.size_px)
    more = max(most, min(CANDIDATES_AHEAD[0] * most, CANDIDATES_AHEAD[1]))
    with (
        closing(ahead(_views(passes, steadiers, observers), most)) as views,
        closing(ahead(_searched(passes, steadiers, views), more)) as searched,
    ):
        for index, found in searched:
            if observers.progress is not None and index % PROGRESS_EVERY == 0:
                observers.progress(index, facts.frame_count)
            for at, candidates in found:
                if observers.on_candidates is not None and at == 0:
                    observers.on_candidates(candidates)
                yield at, candidates
    for each, steadier in zip(passes, steadiers, strict=True):
        each.moves, each.lost_share = steadier.moves, steadier.lost_share
        each.refined = steadier.camera
        if steadier.blind:
            each.notes.append(BLIND_NOTE)
    if observers.progress is not None:
        observers.progress(facts.frame_count, facts.frame_count)


def _steadiers(passes: Sequence[FramePass]) -> list[Steadier | Led]:
    """Return what takes the camera's motion out of the frames of each pass."""
    first, leader = passes[0], passes[0]._steadier()
    steadiers: list[Steadier | Led] = [leader]
    for each in passes[1:]:
        led = each.while_still and first.every == 1 and each.camera is first.camera
        steadiers.append(Led(leader) if led else each._steadier())
    return steadiers


def still_pixels(
    loop: FramePass, filmed: Mapping[int, tuple[float, float]]
) -> dict[int, tuple[Array, Array]]:
    """Return where the still camera would have shown one pixel of each of some frames.

    Parameters
    ----------
    loop : FramePass
        Its span holds the frames.
    filmed : mapping
        By frame the column and row as filmed.

    Returns
    -------
    dict
        By frame the pixel and the covariance of its correction, as of `Steadier.still_pixel`.
    """
    steadier = loop._steadier()
    for frame in frames(loop.facts, span=loop.span):
        loop._view(frame, steadier)
    return {frame: steadier.still_pixel(frame, pixel) for frame, pixel in filmed.items()}


def _views(
    passes: Sequence[FramePass], steadiers: Sequence[Steadier | Led], observers: Observers
) -> Iterator[tuple[int, list[_View | None]]]:
    """Decode frame after frame and draw it as each pass searches it; each comes with its index."""

    def note(sentence: str) -> None:
        for each in passes:
            each.notes.append(sentence)

    for frame in frames(passes[0].facts, on_note=note, span=passes[0].span):
        if observers.on_frame is not None:
            observers.on_frame(frame)
        pairs = zip(passes, steadiers, strict=True)
        yield frame.index, [each._view(frame, steadier) for each, steadier in pairs]


def _searched(
    passes: Sequence[FramePass],
    steadiers: Sequence[Steadier | Led],
    views: Iterator[tuple[int, list[_View | None]]],
) -> Iterator[tuple[int, list[tuple[int, Candidates]]]]:
    """Search frame after frame for candidates.

    Yields
    ------
    tuple
        Index of the latest frame, and candidates that are ready, each with the place of its pass.
    """
    finders = [CandidateFinder(each.settings, each.cutouts) for each in passes]
    every = shown_every(1.0 / frame_interval_s(passes[0].facts))
    squares = [Squares(each.side_px, every) for each in passes]
    for index, some in views:
        five = enumerate(zip(passes, some, finders, steadiers, squares, strict=True))
        found = [
            (at, candidates)
            for at, (each, view, finder, by, cut) in five
            for candidates in each._found(view, finder, by, cut)
        ]
        if found or index % PROGRESS_EVERY == 0:
            yield index, found
    three = enumerate(zip(finders, steadiers, squares, strict=True))
    left = [
        (at, by.steadied(cut.given(one))) for at, (each, by, cut) in three for one in each.finish()
    ]
    yield passes[0].facts.frame_count, left


def _drawn(settings: SearchSettings) -> tuple[int, int, int, int]:
    """Return the part of the frame that the finder looks at, cutouts included."""
    left, top, right, bottom = settings.window
    margin = 2 * settings.patch_half
    return left - margin, top - margin, right + margin, bottom + margin


def _beginning(facts: ClipFacts, every: int) -> Iterator[NDArray[np.uint8]]:
    """Give the luma of a clip's frames once more, from the first on."""
    return (frame.luma for frame in islice(frames(facts), 0, None, every))
