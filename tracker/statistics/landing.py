"""How shots scatter over the ground."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.statistics.distributions import scatter_ratios
from tracker.statistics.freedom import welch_dof
from tracker.statistics.root import root_between

Array = NDArray[np.float64]

FEW = 200
"""Points of which every pair is tried; of more only the corners of their hull."""


@dataclass(frozen=True)
class Ellipse:
    """An elliptical region of the ground.

    Attributes
    ----------
    centre : ndarray, shape (2,)
    semi_axes : tuple of two floats
        Longer one first.
    direction_deg : float
        Angle of the longer axis from the first coordinate, between -90 and 90.
    level : float
        Probability of the region.
    """

    centre: Array
    semi_axes: tuple[float, float]
    direction_deg: float
    level: float

    def outline(self, count: int = 73) -> Array:
        """Return points around it, shape (count, 2), the first repeated at the end."""
        turn = np.linspace(0.0, 2.0 * math.pi, count)
        angle = math.radians(self.direction_deg)
        axes = np.array(
            [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        ) * np.array(self.semi_axes)
        found: Array = self.centre + np.column_stack((np.cos(turn), np.sin(turn))) @ axes.T
        return found

    def holds(self, points: ArrayLike) -> NDArray[np.bool_]:
        """Return which points, shape (N, 2), lie inside."""
        angle = math.radians(self.direction_deg)
        rotation = np.array(
            [[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]
        )
        local = (np.asarray(points, float).reshape(-1, 2) - self.centre) @ rotation.T
        # A region of no width holds the points on it to rounding.
        axes = np.maximum(np.array(self.semi_axes), 1e-12 * max(self.semi_axes) + 1e-300)
        return np.asarray(np.hypot(*(local / axes).T) <= 1.0)


def landing_region(points: ArrayLike, level: float) -> Ellipse | None:
    """Return the ellipse that holds the next landing.

    Parameters
    ----------
    points : array_like, shape (N, 2)
        Landings, for instance along and across, m.
    level : float
        Probability.

    Returns
    -------
    Ellipse or None
        None for fewer than three points, which fix no ellipse.

    Notes
    -----
    Hotelling's T² with two dimensions: ``2 (n - 1) / (n - 2) F(level; 2, n - 2)`` times
    ``1 + 1/n``. Source: H. Hotelling (1931);
    V. Chew, Journal of the American Statistical Association 61, 605 (1966).
    """
    array = np.asarray(points, float).reshape(-1, 2)
    count = len(array)
    if count < 3:
        return None
    factor = (1.0 + 1.0 / count) * 2.0 * (count - 1) / (count - 2) * _f_of_two(count - 2, level)
    values, vectors = np.linalg.eigh(np.cov(array.T))
    lengths = np.sqrt(factor * np.clip(values, 0.0, None))
    along = vectors[:, 1]
    direction = math.degrees(math.atan2(along[1], along[0]))
    direction = (direction + 90.0) % 180.0 - 90.0
    return Ellipse(array.mean(axis=0), (float(lengths[1]), float(lengths[0])), direction, level)


def _f_of_two(dof: float, level: float) -> float:
    """Return the value that F with two and `dof` degrees of freedom stays below with a chance.

    Source: Abramowitz and Stegun (1964), equation 26.6.4, turned round.
    """
    return 0.5 * dof * math.expm1(-2.0 / dof * math.log1p(-level))


def miss_probability(radius: ArrayLike, deviations: tuple[float, float]) -> Array:
    """Return the chance that a normal scatter lands within a radius of its centre.

    Parameters
    ----------
    radius : array_like
        One or several.
    deviations : tuple of two floats
        Standard deviations along the two principal axes.

    Returns
    -------
    ndarray
        Of the shape of `radius`.

    Notes
    -----
    Integral over the direction of the bivariate normal (R. S. Hoyt, Bell System Technical
    Journal 26, 318, 1947), by the trapezium rule, which converges geometrically on a circle.
    """
    radii = np.asarray(radius, float)
    small, large = sorted(deviations)
    if large == 0.0:
        return np.ones_like(radii)
    if small < 1e-6 * large:
        return np.asarray(np.vectorize(math.erf)(radii / large / math.sqrt(2.0)), float)
    count = 64 + 16 * math.ceil(large / small)
    turn = (np.arange(count) + 0.5) * (2.0 * math.pi / count)
    spread = (np.cos(turn) / large) ** 2 + (np.sin(turn) / small) ** 2
    inside = -np.expm1(-0.5 * radii[..., None] ** 2 * spread) / spread
    return np.asarray(inside.mean(axis=-1) / (small * large))


def radius_for(probability: float, deviations: tuple[float, float], dof: float = math.inf) -> float:
    """Return the radius about the centre that holds a share of a normal or Student scatter.

    Parameters
    ----------
    probability : float
    deviations : tuple of two floats
        Standard deviations along the two principal axes; for a Student scatter its scale.
    dof : float
        Degrees of freedom of the bivariate Student distribution; infinity for the normal one.

    Notes
    -----
    A Student scatter is a normal one over the root of chi-square over its degrees of freedom,
    averaged here over its values.
    """
    large = max(deviations)
    if large == 0.0:
        return 0.0
    scales, weights = np.ones(1), np.ones(1)
    if math.isfinite(dof):
        scales, weights = scatter_ratios(dof)

    def excess(radius: float) -> float:
        inside = miss_probability(radius * scales, deviations)
        return float(weights @ inside) - probability

    top = large * (2.0 + math.sqrt(-2.0 * math.log1p(-probability)))
    while excess(top) < 0.0:
        top *= 2.0
    return root_between(excess, 0.0, top, 1e-6 * large)


def median_miss(points: ArrayLike) -> float | None:
    """Return the radius about their centre that the next landing keeps with a chance of one half.

    None for fewer than three points. Also called circular error probable; for a round scatter that
    is known it is 1.1774 standard deviations. Predictive: the next landing lies from the centre of
    n by ``1 + 1/n`` times their variance, which is known to the effective degrees of freedom of
    the sum of the two principal variances (Satterthwaite).
    """
    array = np.asarray(points, float).reshape(-1, 2)
    count = len(array)
    if count < 3:
        return None
    values = np.clip(np.linalg.eigvalsh(np.cov(array.T)), 0.0, None)
    dof = welch_dof([(float(value), count - 1.0) for value in values])
    wide = np.sqrt((1.0 + 1.0 / count) * values)
    return radius_for(0.5, (float(wide[0]), float(wide[1])), dof)


def extreme_spread(points: ArrayLike) -> float:
    """Return the largest distance between two of the points, shape (N, 2)."""
    array = np.asarray(points, float).reshape(-1, 2)
    if len(array) > FEW:
        array = _hull(_outer(array))
    return float(np.linalg.norm(array[:, None] - array[None], axis=2).max())


def _outer(points: Array) -> Array:
    """Return the points among which the two that lie farthest apart are.

    Two points are no farther apart than their distances from the centre together, so either of
    the farthest lies from it by what any pair is apart less the greatest such distance.
    """
    centre = 0.5 * (points.min(axis=0) + points.max(axis=0))
    away = np.hypot(*(points - centre).T)
    far = points[away.argmax()]
    apart = np.hypot(*(points - far).T).max()
    return np.asarray(points[away >= (apart - away.max()) * (1.0 - 1e-9)])


def _hull(points: Array) -> Array:
    """Return the corners of the convex hull.

    Source: A. M. Andrew, Information Processing Letters 9, 216 (1979).
    """
    # As complex numbers they are sorted by the first coordinate, then by the second.
    ordered = np.unique(np.ascontiguousarray(points).view(complex).ravel())
    ordered = ordered.view(float).reshape(-1, 2)
    corners: list[tuple[float, float]] = []
    for half in (ordered.tolist(), ordered[::-1].tolist()):
        chain: list[tuple[float, float]] = []
        for x, y in half:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], (x, y)) <= 0.0:
                chain.pop()
            chain.append((x, y))
        corners += chain
    return np.array(corners)


def _turn(one: tuple[float, float], two: tuple[float, float], three: tuple[float, float]) -> float:
    """Return twice the area of a triangle, positive where it is walked to the left."""
    return (two[0] - one[0]) * (three[1] - one[1]) - (two[1] - one[1]) * (three[0] - one[0])
