"""First guesses of flights from paths in the frame, where a flight is in view for a moment only.

Near the release a candidate says little of the launch: within a metre or two flights of all speeds
go through nearly the same places, so the votes of one ball lie scattered over the ballot, and which
of its cells is tried is a matter of luck. There the ball's own path, linked from frame to frame,
gives time, angle and speed at once.
"""

import numpy as np
from numpy.typing import NDArray

from tracker.following.arcs import Arc
from tracker.following.hypothesis import Hypothesis, SearchContext, straight_flight
from tracker.following.linking import ArcSearch, NearBall
from tracker.following.plane import PlaneMap
from tracker.records import Candidates

Array = NDArray[np.float64]

SHORT_S = 0.8
"""Usual time in view of a flight below which paths are linked, s. Common practice, no source."""

LEAST_POSITIONS = 8
"""Fewest positions of a path that is taken for a flight."""

LEAST_MPS, MOST_OFF_M = 2.0, 0.4
"""Least speed down the firing line, m/s, and how far above or below the release the path may be
when it passes it, m. Common practice, no source."""

KEPT = 200
"""First guesses that are kept at most, the latest."""


class PathStarts:
    """Links candidates to paths and turns them into first guesses of flights.

    Parameters
    ----------
    context : SearchContext
    plane : PlaneMap
    """

    def __init__(self, context: SearchContext, plane: PlaneMap) -> None:
        self._context, self._plane = context, plane
        camera = context.camera
        depth = max(float(camera.in_camera(context.release_m)[0, 2]), 1.0)
        scale = camera.focal_px / depth
        near = NearBall(2.0 * context.ball_radius_m * scale, context.forces.gravity_mps2 * scale)
        self._search = ArcSearch(camera.size_px[0], context.frame_s, near)
        self._guesses: list[tuple[float, float, float]] = []

    def push(self, candidates: Candidates) -> None:
        """Take the next frame's candidates."""
        self._take(self._search.push(candidates))

    def finish(self) -> None:
        """Take the paths that are open."""
        self._take(self._search.finish())

    def between(self, first_s: float, last_s: float) -> list[Hypothesis]:
        """Return the flights that are released between two times."""
        return [
            straight_flight(self._context, *guess)
            for guess in self._guesses
            if first_s <= guess[0] <= last_s
        ]

    def _take(self, arcs: list[Arc]) -> None:
        for arc in arcs:
            guess = self._guess(arc) if len(arc.frames) >= LEAST_POSITIONS else None
            if guess is not None:
                self._guesses.append(guess)
        del self._guesses[:-KEPT]

    def _guess(self, arc: Arc) -> tuple[float, float, float] | None:
        """Return time of release, launch angle (rad) and exit speed of a path, if it has any."""
        places = self._plane.places(arc.pixels)
        known = np.isfinite(places).all(axis=1)
        if np.sum(known) < LEAST_POSITIONS:
            return None
        gravity, release_m = self._context.forces.gravity_mps2, self._context.release_m
        middle_s = float(arc.times_s[known].mean())
        since = arc.times_s[known] - middle_s
        along, begin = np.polyfit(since, places[known, 0], 1)
        up, height = np.polyfit(since, places[known, 2] + 0.5 * gravity * since**2, 1)
        if along < LEAST_MPS:
            return None
        back_s = float((release_m[0] - begin) / along)
        passed = height + up * back_s - 0.5 * gravity * back_s**2
        if abs(passed - release_m[2]) > MOST_OFF_M:
            return None
        climb = float(up - gravity * back_s)
        return middle_s + back_s, float(np.arctan2(climb, along)), float(np.hypot(climb, along))
