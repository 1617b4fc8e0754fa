"""Carries of many shots: some are integrated, the others read off a surface through them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.forces import forces_on
from tracker.flight.integration import LAUNCH
from tracker.launcher.carry import Release, carries_from

Array = NDArray[np.float64]

FITTED, CHECKED = 400, 100
"""Flights that the surface is fitted to, and others that it is checked at."""

MOST_OFF = 1e-3
"""Greatest error of the surface at a checked flight, as a share of its carry: a tenth of what a
measured carry is known to. With a greater one every flight is integrated."""

DEGREE = 3
"""Degree of the surface in speed, angle, height, density and wind together."""

MOST_AIRS = 8
"""Airs that are each integrated by themselves. Of more, the flights are integrated together: each
has its own wind and drag, but the buoyancy and the drag curve of the mean air, which moves a carry
by less than 0.03 %."""

RIDGE = 1e-11
"""Relative weight that draws a coefficient to zero, for airs that leave some undetermined."""

AT_ONCE = 2000
"""Flights of one integration, and of one evaluation of the surface: little enough for a
processor's cache."""


@dataclass(frozen=True)
class Flights:
    """Where flights begin, without spin.

    Attributes
    ----------
    speeds_mps : ndarray, shape (K,)
        Above zero.
    angles_deg, heights_m : ndarray, shape (K,)
    air_of : ndarray of int, shape (K,)
        The place of each flight's air in a list of them.
    """

    speeds_mps: Array
    angles_deg: Array
    heights_m: Array
    air_of: NDArray[np.intp]

    @classmethod
    def alike(cls, speeds_mps: Array, release: Release) -> "Flights":
        """Return flights that differ in their speed only."""
        like = np.ones(len(speeds_mps))
        heights, angles = release.height_m * like, release.angle_deg * like
        return cls(speeds_mps, angles, heights, np.zeros(len(like), int))

    def having(self, chosen: NDArray[np.intp]) -> "Flights":
        """Return some of the flights."""
        speeds, angles = self.speeds_mps[chosen], self.angles_deg[chosen]
        return Flights(speeds, angles, self.heights_m[chosen], self.air_of[chosen])


def many_carries(flights: Flights, ball: Ball, airs: Sequence[Air]) -> Array:
    """Return the carries of any number of shots over level ground, m, shape (K,).

    Parameters
    ----------
    flights : Flights
    ball : Ball
    airs : sequence of Air

    Notes
    -----
    Up to `FITTED` + `CHECKED` flights are integrated. Of more, that many are: those with the least
    and the greatest of each figure, and others drawn at random. The rest comes from a polynomial
    through them, unless it misses a checked one.
    """
    count = len(flights.speeds_mps)
    if count <= FITTED + CHECKED:
        return _integrated(flights, ball, airs)
    plane = _plane(flights, airs)
    outermost = np.unique([plane.argmin(axis=0), plane.argmax(axis=0)])
    shuffled = np.random.default_rng(count).permutation(count)
    drawn = np.r_[outermost, shuffled[~np.isin(shuffled, outermost)]][: FITTED + CHECKED]
    carries = _integrated(flights.having(drawn), ball, airs)
    low, high = plane[drawn].min(axis=0), plane[drawn].max(axis=0)
    vary = high > low
    scaled = 2.0 * (plane[:, vary] - low[vary]) / (high - low)[vary] - 1.0
    fit = _fitted(_powers(scaled[drawn[:FITTED]]), carries[:FITTED])
    parts = [scaled[begin : begin + AT_ONCE] for begin in range(0, count, AT_ONCE)]
    found = np.concatenate([_powers(part) @ fit for part in parts])
    off = np.abs(found[drawn] / np.maximum(carries, 1e-9) - 1.0)
    if off[FITTED:].max() > MOST_OFF:
        return _integrated(flights, ball, airs)
    found[drawn] = carries
    return found


def _plane(flights: Flights, airs: Sequence[Air]) -> Array:
    """Return what each carry depends on, shape (K, 6)."""
    columns = [(air.density_kgpm3, air.wind_along_mps, air.wind_across_mps) for air in airs]
    start = (flights.speeds_mps, flights.angles_deg, flights.heights_m)
    return np.column_stack([*start, np.array(columns)[flights.air_of]])


def _fitted(powers: Array, carries: Array) -> Array:
    """Return the least-squares coefficients of a surface, small where several would do.

    By the normal equations, for a tenth of the time of a singular value decomposition: of products
    of numbers between -1 and 1 they lose eight digits of sixteen, and four are needed.
    """
    normal = powers.T @ powers
    normal[np.diag_indices_from(normal)] *= 1.0 + RIDGE
    return np.asarray(np.linalg.solve(normal, powers.T @ carries))


def _powers(scaled: Array) -> Array:
    """Return all products of up to `DEGREE` columns, shape (K, P)."""
    columns = np.ascontiguousarray(scaled.T)
    terms = _terms(len(columns))
    powers = np.ones((len(terms), len(scaled)))
    for place, (lower, column) in enumerate(terms[1:], 1):
        np.multiply(powers[lower], columns[column], out=powers[place])
    return powers.T


@lru_cache(maxsize=20)
def _terms(columns: int) -> tuple[tuple[int, int], ...]:
    """Return every product as the place of an earlier one and the column it is multiplied by."""
    places: dict[tuple[int, ...], int] = {(): 0}
    terms = [(0, 0)]
    for degree in range(1, DEGREE + 1):
        for chosen in combinations_with_replacement(range(columns), degree):
            places[chosen] = len(terms)
            terms.append((places[chosen[:-1]], chosen[-1]))
    return tuple(terms)


def _integrated(flights: Flights, ball: Ball, airs: Sequence[Air]) -> Array:
    """Return the carries of flights, each integrated."""
    used = [airs[place] for place in _different(flights.air_of)]
    different = list(dict.fromkeys(used))
    apart = len(different) <= MOST_AIRS
    common = different
    if not apart:
        mean = float(np.mean([air.density_kgpm3 for air in different]))
        common = [replace(different[0], density_kgpm3=mean)]
    place_of = {air: place for place, air in enumerate(different)} if apart else {}
    group_of = np.array([place_of.get(air, 0) for air in airs], int)[flights.air_of]
    found = np.empty(len(flights.speeds_mps))
    for place, air in enumerate(common):
        mine = np.flatnonzero(group_of == place)
        for begin in range(0, mine.size, AT_ONCE):
            part = mine[begin : begin + AT_ONCE]
            found[part] = _flown(flights.having(part), ball, airs, air)
    return found


def _flown(flights: Flights, ball: Ball, airs: Sequence[Air], air: Air) -> Array:
    """Return the carries of flights in airs whose buoyancy is that of `air`."""
    which = _different(flights.air_of)
    own_of = np.searchsorted(which, flights.air_of)
    own, reach = [airs[place] for place in which], _reach(ball, air)
    drags = [ball.drag_coefficient * _reach(ball, there) / reach for there in own]
    angles = np.radians(flights.angles_deg)
    rows = np.zeros((len(own_of), len(LAUNCH)))
    cells = {
        "up": flights.heights_m,
        "speed_along": flights.speeds_mps * np.cos(angles),
        "speed_up": flights.speeds_mps * np.sin(angles),
        "drag": np.array(drags)[own_of],
        "wind_along": np.array([there.wind_along_mps for there in own])[own_of],
        "wind_across": np.array([there.wind_across_mps for there in own])[own_of],
    }
    for name, values in cells.items():
        rows[:, LAUNCH.index(name)] = values
    return carries_from(rows, ball, air)


def _different(numbers: NDArray[np.intp]) -> list[int]:
    """Return the different ones of whole numbers in order; numpy's own loads 0.03 s of itself."""
    return sorted(set(numbers.tolist()))


@lru_cache(maxsize=1000)
def _reach(ball: Ball, air: Air) -> float:
    return forces_on(ball, air).reach_per_m
