"""A first pass through a clip that needs no release point: the paths of what is thrown."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, check_cadence
from tracker.detection import CandidateFinder, SearchSettings
from tracker.following.arcs import Arc
from tracker.following.linking import ArcSearch, NearBall
from tracker.following.throws import is_near_throw, is_slow_fall, is_throw
from tracker.measurement.context import frame_interval_s
from tracker.measurement.passes import MOVED_NOTE, NO_OBSERVERS, FramePass, Observers, Timing
from tracker.records import Reason, ReasonCode
from tracker.video import ChangeMeter, ClipFacts

Array = NDArray[np.float64]

Codes = NDArray[np.uint8]

SCOUTING_FPS = 60.0
"""Frames a second that are looked at: at more, a ball does not leave its own place."""

SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, SCOUTING_MOST = 4.0, 4.0, 90
"""Diameter and step of the ball that the first pass looks for, px, and most candidates a frame."""

REPORTED_REPEATS = 0.03
"""Share of frames that repeat the picture before them above which a note says so. Common practice,
no source."""

MOST_LOST = 0.5
"""Share of a path's frames in which the camera's motion may not be followed: a person may hide the
background for a while. Common practice, no source."""


NEAR_DIAMETERS_PX = (9.0, 18.0, 36.0, 72.0)
"""Diameters of a ball that is near, px, that are looked for beside: steps of two."""

NEAR_MOST_SHARE = 0.1
"""Largest ball that is looked for, as a share of the frame's width."""

NEAR_SHRINK = 3
"""Whole number by which the luma is made smaller for them: the smallest is then three pixels."""

NEAR_LAG_S, NEAR_MOST = 0.067, 20
"""Time in which a near ball leaves its own place, s: two frames at 30 a second; most candidates a
frame and size. Common practice, no source."""

SMALL_DIAMETER_PX, SMALL_MOST_PIXELS = 2.0, 2_100_000
"""Diameter of a ball that is looked for in the frames as they are, px, since a picture made smaller
hides it; and the largest frame in which it is, pixels: 1920 by 1080. Chosen for time."""

AS_LONG, ONE_BALL_SHARE = 0.9, 0.012
"""A path of the usual search is kept where it has this share of the positions that the search for
small balls has; both are one ball's where they are so near, as a share of the frame's width."""

SAME_SHARE = 0.5
"""Least share of the shorter of two paths that must overlap in time for them to be one ball's."""


@dataclass(frozen=True)
class Scouted:
    """What a first pass found.

    Attributes
    ----------
    arcs : tuple of Arc
        Every joined path, in order of its beginning, thrown or not.
    throws : tuple of int
        Indices into `arcs` of those that may be throws.
    slow : tuple of int
        Of those that fall smoothly, but far too slowly for any usual distance.
    frame_s : float
        True time from one frame looked at to the next.
    timing : Timing
    doubt : str
        Why the frame times are wrong; empty where they are not.
    doubts : tuple of Reason
        What makes every shot of the clip doubtful.
    notes : tuple of str
    lost_s : tuple of float
        True times of the frames in which the camera's motion could not be followed.
    near : tuple of int
        Of the throws, those of a ball that is seen so near that its size shows.
    """

    arcs: tuple[Arc, ...]
    throws: tuple[int, ...]
    slow: tuple[int, ...]
    frame_s: float
    timing: Timing
    doubt: str
    doubts: tuple[Reason, ...]
    notes: tuple[str, ...]
    lost_s: tuple[float, ...] = ()
    near: tuple[int, ...] = ()

    def follows_camera(self, begin_s: float, end_s: float) -> bool:
        """Return whether the camera's motion was followed in most frames between two times."""
        lost = sum(begin_s <= time_s <= end_s for time_s in self.lost_s)
        return lost <= MOST_LOST * ((end_s - begin_s) / self.frame_s + 1.0)


def scout(
    facts: ClipFacts,
    camera: Camera,
    observers: Observers = NO_OBSERVERS,
    fall_per_diameter: float | None = None,
) -> Scouted:
    """Pass through a clip and join what moves to paths.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        Any camera with about the true focal length, for the correction of its motion.
    observers : Observers
    fall_per_diameter : float, optional
        Gravity in diameters of the ball a second squared: balls that are seen near are looked for
        too, at several sizes, and small ones in the frames as they are.
    """
    every = max(1, round(1.0 / frame_interval_s(facts) / SCOUTING_FPS))
    frame_s = every * frame_interval_s(facts)
    width, settings = facts.size_px[0], scouting_settings(facts)
    meter = ChangeMeter(facts)
    timing, doubt = Timing.of_file(facts), ""
    sizes = _Sizes(facts, frame_s, fall_per_diameter)
    loop = FramePass(facts, camera, settings, timing, every, meter, also=sizes.see)
    arcs = _joined(loop, frame_s, observers)
    notes = list(loop.notes)
    base = check_cadence(meter.changes(), facts.file_times_s)
    if base.cadence is Cadence.MENDED:
        notes.append(base.explanation)
        timing = Timing.corrected(facts, base)
        sizes = _Sizes(facts, frame_s, fall_per_diameter)
        loop = FramePass(facts, camera, settings, timing, every, also=sizes.see)
        arcs = _joined(loop, frame_s, observers.progress_only)
    elif base.cadence is Cadence.DOUBTFUL:
        doubt = base.explanation
    elif base.repeats.mean() > REPORTED_REPEATS:
        notes.append(base.explanation)
    if loop.moves:
        notes.append(MOVED_NOTE)
    arcs, throws, seen_near = _thrown(arcs, sizes, width, frame_s)
    slow = tuple(at for at, arc in enumerate(arcs) if is_slow_fall(arc, width, frame_s))
    doubts = loop.doubts()
    if doubt:
        doubts.append(Reason(ReasonCode.FRAME_TIMES))
    return Scouted(
        tuple(arcs),
        throws,
        slow,
        frame_s,
        timing,
        doubt,
        tuple(doubts),
        tuple(notes),
        tuple(loop.lost_s),
        seen_near,
    )


class _Near:
    """Looks for a ball that is seen near, at several sizes at once, in the luma made smaller.

    Parameters
    ----------
    facts : ClipFacts
    frame_s : float
        True time from one frame looked at to the next.
    fall_per_diameter : float or None
        As of `scout`.
    """

    def __init__(self, facts: ClipFacts, frame_s: float, fall_per_diameter: float | None) -> None:
        self._width = facts.size_px[0]
        self._frame_s = frame_s
        self._small = (facts.size_px[0] // NEAR_SHRINK, facts.size_px[1] // NEAR_SHRINK)
        self._balls: list[NearBall] = []
        if fall_per_diameter is not None and min(self._small) > 0:
            most_px = NEAR_MOST_SHARE * self._width
            sizes = [size for size in NEAR_DIAMETERS_PX if size <= most_px]
            self._balls = [NearBall(size, fall_per_diameter * size) for size in sizes]
        lag = max(1, round(NEAR_LAG_S / frame_s))
        settings = [
            SearchSettings(
                ball.diameter_px / NEAR_SHRINK, 0.0, lag, (0, 0, *self._small), NEAR_MOST, True
            )
            for ball in self._balls
        ]
        self._finders = [CandidateFinder(each) for each in settings]
        self._searches = [ArcSearch(self._width, frame_s, ball) for ball in self._balls]
        self._found: list[list[Arc]] = [[] for _ in self._balls]

    def see(self, frame: int, time_s: float, luma: Codes, blueness: Codes | None) -> None:
        """Take the next frame."""
        if not self._balls:
            return
        width, height = self._small
        small = _smaller(luma, (width, height))
        colour = None if blueness is None else _smaller(blueness, (width // 2, height // 2))
        for finder, search, found in zip(self._finders, self._searches, self._found, strict=True):
            candidates = finder.push(frame, time_s, small, colour)
            if candidates is not None:
                pixels = NEAR_SHRINK * (candidates.pixels + 0.5) - 0.5
                found.extend(search.push(replace(candidates, pixels=pixels)))

    def throws(self, thrown: Sequence[Arc]) -> list[Arc]:
        """Return, after the pass, the throws seen near that are none of `thrown`, each once."""
        paths: list[Arc] = []
        for search, ball, found in zip(self._searches, self._balls, self._found, strict=True):
            found.extend(search.finish())
            paths += [arc for arc in found if is_near_throw(arc, ball, self._frame_s)]
        kept: list[Arc] = []
        for arc in sorted(paths, key=lambda each: -len(each.frames)):
            longer = [each for each in thrown if len(each.frames) >= len(arc.frames)]
            if not any(_same(arc, each, self._width) for each in [*kept, *longer]):
                kept.append(arc)
        return kept


class _Small:
    """Looks for a ball so small that only the frames as they are show it.

    Parameters
    ----------
    facts : ClipFacts
    frame_s : float
        True time from one frame looked at to the next.
    """

    def __init__(self, facts: ClipFacts, frame_s: float) -> None:
        self._width, self._frame_s = facts.size_px[0], frame_s
        settings = replace(scouting_settings(facts), diameter_px=SMALL_DIAMETER_PX)
        self._finder, self._search = CandidateFinder(settings), ArcSearch(self._width, frame_s)
        self._found: list[Arc] = []

    def see(self, frame: int, time_s: float, luma: Codes, blueness: Codes | None) -> None:
        """Take the next frame."""
        candidates = self._finder.push(frame, time_s, luma, blueness)
        if candidates is not None:
            self._found.extend(self._search.push(candidates))

    def throws(self, thrown: Sequence[Arc]) -> list[Arc]:
        """Return, after the pass, the throws of which `thrown` has no path that is as long."""
        self._found.extend(self._search.finish())
        paths = [arc for arc in self._found if is_throw(arc, self._width, self._frame_s)]
        kept = []
        for arc in paths:
            least = AS_LONG * len(arc.frames)
            as_long = [each for each in thrown if len(each.frames) >= least]
            if not any(_same(arc, each, self._width, ONE_BALL_SHARE) for each in as_long):
                kept.append(arc)
        return kept


class _Sizes:
    """Balls of other sizes than the usual one, looked for in the same pass.

    Parameters
    ----------
    facts, frame_s, fall_per_diameter
        As of `_Near`; None looks for no other size.
    """

    def __init__(self, facts: ClipFacts, frame_s: float, fall_per_diameter: float | None) -> None:
        self.near = _Near(facts, frame_s, fall_per_diameter)
        width, height = facts.size_px
        wanted = fall_per_diameter is not None and width * height <= SMALL_MOST_PIXELS
        self.small = _Small(facts, frame_s) if wanted else None

    def see(self, frame: int, time_s: float, luma: Codes, blueness: Codes | None) -> None:
        """Take the next frame."""
        self.near.see(frame, time_s, luma, blueness)
        if self.small is not None:
            self.small.see(frame, time_s, luma, blueness)


def _smaller(picture: Codes, size: tuple[int, int]) -> Codes:
    """Return a picture made smaller by a whole number, to so many columns and rows."""
    import cv2

    columns, rows = (NEAR_SHRINK * side for side in size)
    part = picture[:rows, :columns]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)


def _same(arc: Arc, other: Arc, width_px: int, share: float = NEAR_MOST_SHARE) -> bool:
    """Return whether two paths are one ball's: near each other where their times overlap.

    Parameters
    ----------
    arc, other : Arc
    width_px : int
        Width of the frames.
    share : float
        Of the width, that they are nearer than.
    """
    first = max(float(arc.times_s[0]), float(other.times_s[0]))
    last = min(float(arc.times_s[-1]), float(other.times_s[-1]))
    if last - first < SAME_SHARE * min(arc.duration_s, other.duration_s):
        return False
    times = np.linspace(first, last, 9)
    apart = np.linalg.norm(arc.at(times) - other.at(times), axis=1)
    return bool(np.median(apart) < share * width_px)


def _part_of(arc: Arc, longer: Arc, width_px: int) -> bool:
    """Return whether a path is one ball's with another that has more positions."""
    return len(arc.frames) < len(longer.frames) and _same(arc, longer, width_px, ONE_BALL_SHARE)


def _thrown(
    arcs: list[Arc], sizes: _Sizes, width: int, frame_s: float
) -> tuple[list[Arc], tuple[int, ...], tuple[int, ...]]:
    """Return all paths by time, and the places of the throws and of those seen near among them."""
    thrown = [arc for arc in arcs if is_throw(arc, width, frame_s)]
    if sizes.small is not None:
        small = sizes.small.throws(thrown)
        gone = {id(arc) for arc in arcs if any(_part_of(arc, each, width) for each in small)}
        arcs = [arc for arc in arcs if id(arc) not in gone] + small
        thrown = [arc for arc in thrown if id(arc) not in gone] + small
    closer = sizes.near.throws(thrown)
    arcs = sorted([*arcs, *closer], key=lambda arc: float(arc.times_s[0]))
    chosen = {id(arc) for arc in closer}
    seen_near = tuple(at for at, arc in enumerate(arcs) if id(arc) in chosen)
    chosen |= {id(arc) for arc in thrown if not any(_same(arc, each, width) for each in closer)}
    throws = tuple(at for at, arc in enumerate(arcs) if id(arc) in chosen)
    return arcs, throws, seen_near


def scouting_settings(facts: ClipFacts) -> SearchSettings:
    """Return what the first pass looks for: a ball of any usual size, anywhere."""
    width, height = facts.size_px
    window = (0, 0, width, height)
    return SearchSettings(SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, 1, window, SCOUTING_MOST)


def _joined(loop: FramePass, frame_s: float, observers: Observers) -> list[Arc]:
    """Return every joined path of a pass."""
    search = ArcSearch(loop.facts.size_px[0], frame_s)
    found: list[Arc] = []
    for candidates in loop.candidates(observers):
        found.extend(search.push(candidates))
    found.extend(search.finish())
    return found
