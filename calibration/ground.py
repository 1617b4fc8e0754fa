"""The ground of a field: a plane through the origin, level unless the markers show its fall."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

USUAL_RISE = 0.02
"""Standard deviation of a field's rise, no unit: playing fields are laid with a fall of one to two
in a hundred for drainage. Common practice, no source."""

ROUGH_M = 0.03
"""Standard deviation of turf about its plane, m. Common practice, no source."""

CUT = 3.0
"""A marker farther from the plane than this many standard deviations is not on the ground: the top
of a pole or of a fence."""

NEAR_M = 3.0
"""A marker nearer to the origin than this shows no rise, m: its own height is as large."""

LEAST_MARKERS = 2
"""Fewest markers away from the origin, not level with it, that agree on a rise: one alone is as
likely something that stands on level ground."""

ALIKE_SHARE = 0.1
"""Heights that differ by less than this share of themselves are those of like things that stand on
the ground, not of the ground: cones, posts."""

ROUNDS = 10
"""Reweightings at most; two to three are usual."""


@dataclass(frozen=True)
class Ground:
    """The plane of the ground, through the origin of the ground coordinates.

    Attributes
    ----------
    rise_along, rise_across : float
        How much it rises on the way downrange and to the left, no unit (m/m).
    """

    rise_along: float = 0.0
    rise_across: float = 0.0

    @property
    def upward(self) -> Array:
        """What a point's coordinates contribute to its height above the ground, shape (3,)."""
        return np.array([-self.rise_along, -self.rise_across, 1.0])

    def above(self, points: ArrayLike) -> Array:
        """Return how high points lie above the ground straight below them, m.

        Parameters
        ----------
        points : array_like, shape (..., 3) or more in the last axis
            Along, across, up; what follows them, velocity for instance, is not looked at.

        Returns
        -------
        ndarray, shape (...)
        """
        places = np.asarray(points, float)
        if self.rise_along == 0.0 and self.rise_across == 0.0:
            return np.asarray(places[..., 2])
        return np.asarray(places[..., :3] @ self.upward)

    def height_m(self, places: ArrayLike) -> Array:
        """Return the ground's `up` at places, shape (..., 2 or more), m, shape (...)."""
        return np.asarray(np.asarray(places, float)[..., :2] @ -self.upward[:2])


LEVEL = Ground()
"""Level ground."""


def ground_of(points: ArrayLike, u_m: ArrayLike) -> Ground:
    """Return the ground on which markers lie, by their taped heights.

    The plane through the origin is found that most of them support: least squares with a prior of
    the rise, the squares cut off where a marker stands above the ground (Huber and Ronchetti,
    Robust Statistics, 2009, ch. 4). Level where fewer than `LEAST_MARKERS` show anything else, or
    no more than half of those away from the origin, or where all these are raised alike.

    Parameters
    ----------
    points : array_like, shape (N, 3)
        Taped ground coordinates of the markers, m.
    u_m : array_like, shape (N,)
        Their standard uncertainties.
    """
    places = np.asarray(points, float).reshape(-1, 3)
    u = np.hypot(np.asarray(u_m, float).reshape(-1), ROUGH_M)
    far = np.hypot(places[:, 0], places[:, 1]) > NEAR_M
    places, u = places[far], u[far]
    raised = np.abs(places[:, 2]) > 0.0
    if np.sum(raised) < LEAST_MARKERS:
        return LEVEL
    flat = places[:, :2]
    # A first rise from each marker alone, level ground and all markers.
    own = flat * (places[:, 2] / np.sum(flat**2, axis=1))[:, None]
    guesses = [np.zeros(2), _rise(places, u), *own[raised]]
    found = min(
        (_settled(places, u, guess) for guess in guesses), key=lambda rise: _cost(places, u, rise)
    )
    on_it = np.abs(places[:, 2] - flat @ found) < CUT * u
    heights = np.abs(places[on_it & raised, 2])
    if len(heights) < LEAST_MARKERS or 2 * np.sum(on_it) <= len(places):
        return LEVEL
    if np.ptp(heights) < ALIKE_SHARE * heights.max():
        return LEVEL
    return Ground(float(found[0]), float(found[1]))


def _settled(places: Array, u: Array, rise: Array) -> Array:
    """Return the rise that the markers near a first one agree on, shape (2,)."""
    for _ in range(ROUNDS):
        near = np.abs(places[:, 2] - places[:, :2] @ rise) < CUT * u
        better = _rise(places[near], u[near])
        if np.array_equal(better, rise):
            break
        rise = better
    return rise


def _rise(places: Array, u: Array) -> Array:
    """Return the rise of the plane through the origin and places, shape (2,), with its prior."""
    flat = places[:, :2] / u[:, None]
    normal = flat.T @ flat + np.eye(2) / USUAL_RISE**2
    return np.asarray(np.linalg.solve(normal, flat.T @ (places[:, 2] / u)))


def _cost(places: Array, u: Array, rise: Array) -> float:
    """Return the chi-square of a rise, each marker counting `CUT` squared at most."""
    off = (places[:, 2] - places[:, :2] @ rise) / u
    return float(np.sum(np.minimum(off**2, CUT**2)) + np.sum((rise / USUAL_RISE) ** 2))
