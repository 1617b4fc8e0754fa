"""Table of the flights from the release point through each place above the firing line.

For every launch angle there is one exit speed whose flight goes through a given place
downrange, so a candidate votes for one curve of flights, and a true flight collects the votes
of all its frames (the Hough transform: R. O. Duda and P. E. Hart, Commun. ACM 15, 11, 1972).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tracker.flight.forces import Forces
from tracker.flight.integration import fly_many

Array = NDArray[np.float64]

ANGLES_DEG = np.arange(-6.0, 88.1, 2.0)
SPEEDS_MPS = 5.0 * 1.04 ** np.arange(58)
"""Launch angles (degrees) and exit speeds (5 to 47 m/s) of the table: two neighbours are about a
metre apart at 25 m, within the first gate."""

LONGEST_S = 7.0
"""Longest flight, s: 34 m/s straight up without air."""

STEP_S = 0.05
"""Integration step of the table's flights, s."""

TOGETHER = 16
"""Launch angles whose cells are computed at once: the arrays of all 48 take 40 MB, and fresh pages
of them as long as the sums."""

LOWEST_M = -50.0
"""Height below which a flight is not followed any further, m."""

GRID_ALONG, GRID_UP = 121, 68
"""Points of the grid along the firing line and upwards: 0.3 m apart in a usual view."""


@dataclass(frozen=True)
class FlightTable:
    """Exit speed and time of flight by launch angle and place, on an even grid.

    Attributes
    ----------
    along_m, up_m : tuple of float
        First value and step of the grid, from the release point's foot.
    cells : ndarray, shape (alongs, ups, 2, angles)
        Fractional index into `SPEEDS_MPS` and time from release, s; NaN where no flight goes.
    times_s : ndarray, shape (T,)
        Nodes of the flights, evenly spaced.
    states : ndarray of float32, shape (T, angles, speeds, 6)
        Their positions (m) and velocities (m/s).
    """

    along_m: tuple[float, float]
    up_m: tuple[float, float]
    cells: Array
    times_s: Array
    states: NDArray[np.float32]

    def look_up(self, along_m: Array, up_m: Array) -> tuple[Array, Array]:
        """Return speed index and time, each shape (N, angles), for places, shape (N,).

        Between grid points both are interpolated bilinearly.
        """
        alongs, ups = self.cells.shape[:2]
        at_along = (along_m - self.along_m[0]) / self.along_m[1]
        at_up = (up_m - self.up_m[0]) / self.up_m[1]
        inside = (at_along >= 0) & (at_along < alongs - 1) & (at_up >= 0) & (at_up < ups - 1)
        at_along, at_up = np.where(inside, at_along, 0.0), np.where(inside, at_up, 0.0)
        i, j = at_along.astype(int), at_up.astype(int)
        a, b = (at_along - i)[:, None, None], (at_up - j)[:, None, None]
        found = (1 - a) * (1 - b) * self.cells[i, j]
        found += a * (1 - b) * self.cells[i + 1, j]
        found += (1 - a) * b * self.cells[i, j + 1]
        found += a * b * self.cells[i + 1, j + 1]
        found[~inside, 0] = np.nan
        return found[:, 0], found[:, 1]


def build_table(
    release_m: Array,
    drag: float,
    forces: Forces,
    farthest_m: float,
    highest_m: float,
    wind_mps: tuple[float, float] = (0.0, 0.0),
) -> FlightTable:
    """Compute the table for flights straight down the firing line.

    Parameters
    ----------
    release_m : ndarray, shape (3,)
    drag : float
        Drag coefficient.
    forces : Forces
    farthest_m, highest_m : float
        Extent of the grid: as far and as high as the frame shows.
    wind_mps : tuple of float
        Along and across the firing line.

    Returns
    -------
    FlightTable
        Read-only. The last one is kept: the clips of an evening mostly have one camera and one
        release.
    """
    release = tuple(np.asarray(release_m, float).tolist())
    numbers = float(drag), float(farthest_m), float(highest_m)
    return _table(release, forces, numbers, (float(wind_mps[0]), float(wind_mps[1])))


@lru_cache(maxsize=1)
def _table(
    release: tuple[float, ...],
    forces: Forces,
    numbers: tuple[float, float, float],
    wind_mps: tuple[float, float],
) -> FlightTable:
    """Return what `build_table` does, of drag, farthest and highest in this order."""
    release_m, (drag, farthest_m, highest_m) = np.array(release), numbers
    grid_along = np.linspace(0.0, farthest_m, GRID_ALONG)[1:]
    grid_up = np.linspace(-0.05 * highest_m - 0.2, highest_m, GRID_UP)
    count = len(ANGLES_DEG)
    times, flights = fly_many(_launches(release_m, drag, wind_mps), forces, LONGEST_S, STEP_S)
    flights = flights.reshape(len(times), count, len(SPEEDS_MPS), 6)
    states, along = flights.astype(np.float32), flights[..., 0] - release_m[0]
    up = flights[..., 2].copy()
    del flights
    cells = np.empty((len(grid_along), len(grid_up), 2, count))
    for first in range(0, count, TOGETHER):
        some = slice(first, first + TOGETHER)
        cells[..., some] = _cells(times, along[:, some], up[:, some], (grid_along, grid_up))
    for shared in (cells, times, states):
        shared.flags.writeable = False
    return FlightTable(
        (float(grid_along[0]), float(grid_along[1] - grid_along[0])),
        (float(grid_up[0]), float(grid_up[1] - grid_up[0])),
        cells,
        times,
        states,
    )


def _launches(release_m: Array, drag: float, wind_mps: tuple[float, float]) -> Array:
    """Return the launches at every angle and speed, straight down the firing line."""
    angles = np.radians(ANGLES_DEG)
    launches = np.zeros((len(angles) * len(SPEEDS_MPS), 11))
    launches[:, 0:3] = release_m
    launches[:, 3] = np.outer(np.cos(angles), SPEEDS_MPS).ravel()
    launches[:, 5] = np.outer(np.sin(angles), SPEEDS_MPS).ravel()
    launches[:, 6] = drag
    launches[:, 9:11] = wind_mps
    return launches


def _cells(times: Array, along: Array, up: Array, grid: tuple[Array, Array]) -> Array:
    """Return speed index and time at each place of the grid, shape (alongs, ups, 2, angles).

    Parameters
    ----------
    times : ndarray, shape (T,)
    along, up : ndarray, shape (T, angles, speeds)
        How far from the release point's foot, and how high, each flight is, m.
    grid : tuple of ndarray
        Places along the firing line, from the release point's foot, and upwards, m.
    """
    grid_along, grid_up = grid
    count, speeds = up.shape[1:]
    # Along each flight: how high and when it passes each place downrange.
    flights = along.reshape(len(times), -1).T
    passing = np.stack([up.reshape(len(times), -1).T, np.broadcast_to(times, flights.shape)])
    height, time = _interpolated(grid_along, flights, passing).reshape(2, count, speeds, -1)
    # At each angle and place: which speed passes at each height. A faster ball passes higher; where
    # rounding breaks that order it is restored.
    height = np.where(height > LOWEST_M, height, -np.inf).transpose(0, 2, 1)
    rising = np.maximum.accumulate(height, axis=2).reshape(-1, speeds)
    numbers = np.broadcast_to(np.arange(speeds, dtype=float), rising.shape)
    passing = np.stack([numbers, time.transpose(0, 2, 1).reshape(rising.shape)])
    cells = _interpolated(grid_up, rising, passing)
    return cells.reshape(2, count, len(grid_along), len(grid_up)).transpose(2, 3, 0, 1)


def _interpolated(at: Array, rising: Array, values: Array) -> Array:
    """Interpolate linearly in many rows at once, shape (V, R, Q); NaN outside a row's own values.

    Parameters
    ----------
    at : ndarray, shape (Q,)
        The same for every row.
    rising : ndarray, shape (R, M)
        Nodes of each row; minus infinity before its first.
    values : ndarray, shape (V, R, M)
    """
    count, nodes = rising.shape
    known = np.isfinite(rising)
    low = min(float(at.min()), float(rising[known].min(initial=0.0))) - 2.0
    high = max(float(at.max()), float(rising[known].max(initial=0.0))) + 1.0
    # One search for all: each row lies above the one before it.
    lift = (high - low) * np.arange(count)[:, None]
    line = (np.where(known, rising, low) + lift).ravel()
    place = np.searchsorted(line, (at + lift).ravel(), side="right").reshape(count, -1) - 1
    place -= nodes * np.arange(count)[:, None]
    inside = (place >= 0) & (place < nodes - 1)
    place = np.where(inside, place, 0) + nodes * np.arange(count)[:, None]
    after = place + 1
    start = rising.take(place)
    inside &= np.isfinite(start)
    start = np.where(inside, start, 0.0)
    gap = np.where(inside, rising.take(after), 1.0) - start
    inside &= gap > 0.0
    share = (at - start) / np.where(inside, gap, 1.0)
    found = np.full((len(values), *place.shape), np.nan)
    for each, value in zip(found, values, strict=True):
        first = value.take(place)
        np.copyto(each, first + share * (value.take(after) - first), where=inside)
    return found
