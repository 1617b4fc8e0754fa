"""The sizes of ball that a first pass looks for: the usual one, near balls and small ones."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.detection import CandidateFinder, SearchSettings
from tracker.following.arcs import Arc
from tracker.following.free_part import free_arc
from tracker.following.linking import SIZE_SHARE, ArcSearch, NearBall
from tracker.following.throws import (
    falls_near,
    is_brief,
    is_near_throw,
    is_throw,
    other_ball,
    reaches_near_throw,
)
from tracker.records import Candidates
from tracker.video import ClipFacts

Codes = NDArray[np.uint8]

SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, SCOUTING_MOST = 4.0, 4.0, 90
"""Diameter and step of the ball that the first pass looks for, px, and most candidates a frame."""

COARSE_PX, USUAL_WIDTH_PX = 3.0, 1920.0
"""Diameter of the ball that is looked for where only the cause of there being no shot is wanted, px
in a frame of this width: a larger frame need not show a smaller ball than a search finds."""

NEAR_DIAMETERS_PX = (9.0, 18.0, 36.0, 72.0)
"""Diameters of a ball that is near, px, that are looked for beside: steps of two."""

NEAR_MOST_SHARE = 0.1
"""Largest ball that is looked for, as a share of the frame's width."""

NEAR_SHRINK = 3
"""Whole number by which the luma is made smaller for them: the smallest is then three pixels."""

FOLLOWED_FALLS = (0.4, 2.5)
"""Fall of a ball over that of one of the size looked for, for it to be followed as if it had that
size: beyond, it is another ball. From balls laid over real frames."""

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


def scouting_settings(facts: ClipFacts) -> SearchSettings:
    """Return what the first pass looks for: a ball of any usual size, anywhere."""
    width, height = facts.size_px
    window = (0, 0, width, height)
    return SearchSettings(SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, 1, window, SCOUTING_MOST)


def coarse_settings(facts: ClipFacts) -> SearchSettings:
    """Return what a pass looks for that wants the cause of there being no shot.

    In frames up to 2560 wide it is what any first pass looks for.
    """
    diameter_px = COARSE_PX * facts.size_px[0] / USUAL_WIDTH_PX
    return replace(scouting_settings(facts), diameter_px=max(diameter_px, SCOUTING_DIAMETER_PX))


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
        self._finders = [CandidateFinder(each, cutouts=False) for each in settings]
        self._searches = [ArcSearch(self._width, frame_s, ball) for ball in self._balls]
        self._found: list[list[Arc]] = [[] for _ in self._balls]
        self.brief: list[Arc] = []
        """Afterwards: what falls as a ball of its size does, but too briefly or aslant."""
        self.others: list[tuple[Arc, float]] = []
        """Afterwards: what another ball is thrown along, and how many times as large it is."""

    def see(self, frame: int, time_s: float, luma: Codes, blueness: Codes | None) -> None:
        """Take the next frame."""
        if not self._balls:
            return
        width, height = self._small
        small = _smaller(luma, (width, height))
        colour = None if blueness is None else _smaller(blueness, (width // 2, height // 2))
        for finder, search, found in zip(self._finders, self._searches, self._found, strict=True):
            for candidates in finder.push(frame, time_s, small, colour):
                found.extend(search.push(_in_frame(candidates)))

    def _note_brief(self, arc: Arc, ball: NearBall) -> None:
        if is_brief(arc, self._width) and falls_near(arc, ball, self._frame_s):
            self.brief.append(arc)

    def _is_throw(self, arc: Arc, ball: NearBall) -> bool:
        """Return whether a path is a throw's, of a ball of this size or of one farther away.

        The middle of what changed follows a ball of half and of twice the size too, and smoothly.
        """
        if is_near_throw(arc, ball, self._frame_s, self._width):
            return True
        fall = float(arc.acceleration_pxps2[1]) / ball.fall_pxps2
        room_px = SIZE_SHARE * ball.diameter_px
        followed = FOLLOWED_FALLS[0] < fall < FOLLOWED_FALLS[1]
        return followed and is_throw(arc, self._width, self._frame_s, room_px)

    def throws(self, thrown: Sequence[Arc]) -> list[Arc]:
        """Return, after the pass, the throws seen near that are none of `thrown`, each once."""
        paths: list[Arc] = []
        four = zip(self._finders, self._searches, self._balls, self._found, strict=True)
        for finder, search, ball, found in four:
            for candidates in finder.finish():
                found.extend(search.push(_in_frame(candidates)))
            found.extend(search.finish())
            for arc in found:
                if not reaches_near_throw(arc, ball):
                    self._note_brief(arc, ball)
                    continue
                free = free_arc(arc, ball.fall_pxps2, self._frame_s, ball.diameter_px)
                fits = [part for part in (free, arc) if self._is_throw(part, ball)]
                paths += fits[:1]
                if not fits:
                    self._note_brief(free, ball)
                    tried = [(part, other_ball(part, ball, self._frame_s)) for part in (free, arc)]
                    self.others += [(part, times) for part, times in tried if times][:1]
        kept: list[Arc] = []
        for arc in sorted(paths, key=lambda each: -len(each.frames)):
            longer = [each for each in thrown if len(each.frames) >= len(arc.frames)]
            if not any(same_ball(arc, each, self._width) for each in [*kept, *longer]):
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
        self._finder = CandidateFinder(settings, cutouts=False)
        self._search = ArcSearch(self._width, frame_s)
        self._found: list[Arc] = []

    def see(self, frame: int, time_s: float, luma: Codes, blueness: Codes | None) -> None:
        """Take the next frame."""
        for candidates in self._finder.push(frame, time_s, luma, blueness):
            self._found.extend(self._search.push(candidates))

    def throws(self, thrown: Sequence[Arc]) -> list[Arc]:
        """Return, after the pass, the throws of which `thrown` has no path that is as long."""
        for candidates in self._finder.finish():
            self._found.extend(self._search.push(candidates))
        self._found.extend(self._search.finish())
        paths = [arc for arc in self._found if is_throw(arc, self._width, self._frame_s)]
        kept = []
        for arc in paths:
            least = AS_LONG * len(arc.frames)
            as_long = [each for each in thrown if len(each.frames) >= least]
            if not any(same_ball(arc, each, self._width, ONE_BALL_SHARE) for each in as_long):
                kept.append(arc)
        return kept


class OtherSizes:
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


def _in_frame(candidates: Candidates) -> Candidates:
    """Return candidates of a picture made smaller at their pixels in the frame."""
    return replace(candidates, pixels=NEAR_SHRINK * (candidates.pixels + 0.5) - 0.5)


def _smaller(picture: Codes, size: tuple[int, int]) -> Codes:
    """Return a picture made smaller by a whole number, to so many columns and rows."""
    import cv2

    columns, rows = (NEAR_SHRINK * side for side in size)
    part = picture[:rows, :columns]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)


def same_ball(arc: Arc, other: Arc, width_px: int, share: float = NEAR_MOST_SHARE) -> bool:
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


def part_of(arc: Arc, longer: Arc, width_px: int) -> bool:
    """Return whether a path is one ball's with another that has more positions."""
    return len(arc.frames) < len(longer.frames) and same_ball(arc, longer, width_px, ONE_BALL_SHARE)
