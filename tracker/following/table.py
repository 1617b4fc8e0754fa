"""Which flights from the release point go through a place above the firing line, and when.

For every launch angle there is one exit speed whose flight goes through a given place
downrange, so a single candidate votes for one curve of flights, and the flight that is
really there collects the votes of all its frames (the Hough transform: R. O. Duda and
P. E. Hart, Commun. ACM 15, 11, 1972).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.flight.forces import Forces
from tracker.flight.trajectory import fly_many

Array = NDArray[np.float64]

ANGLES_DEG = np.arange(-6.0, 88.1, 2.0)
SPEEDS_MPS = 5.0 * 1.04 ** np.arange(58)
LONGEST_S = 7.0


@dataclass(frozen=True)
class FlightTable:
    """Exit speed and time of flight by launch angle and place, on an even grid.

    Attributes
    ----------
    along_m, up_m : tuple of float
        First value and step of the grid, from the release point's foot.
    speed_index : ndarray, shape (angles, alongs, ups)
        Fractional index into `SPEEDS_MPS`; NaN where no flight goes.
    time_s : ndarray, shape (angles, alongs, ups)
        Time from release.
    """

    along_m: tuple[float, float]
    up_m: tuple[float, float]
    speed_index: Array
    time_s: Array

    def look_up(self, along_m: Array, up_m: Array) -> tuple[Array, Array]:
        """Return speed index and time, each shape (N, angles), for places, shape (N,).

        Between grid points both are interpolated bilinearly.
        """
        _, alongs, ups = self.speed_index.shape
        at_along = (along_m - self.along_m[0]) / self.along_m[1]
        at_up = (up_m - self.up_m[0]) / self.up_m[1]
        inside = (at_along >= 0) & (at_along < alongs - 1) & (at_up >= 0) & (at_up < ups - 1)
        at_along, at_up = np.where(inside, at_along, 0.0), np.where(inside, at_up, 0.0)
        i, j = at_along.astype(int), at_up.astype(int)
        a, b = at_along - i, at_up - j
        speed = np.zeros((len(along_m), self.speed_index.shape[0]))
        time = np.zeros_like(speed)
        for di, dj, weight in (
            (0, 0, (1 - a) * (1 - b)),
            (1, 0, a * (1 - b)),
            (0, 1, (1 - a) * b),
            (1, 1, a * b),
        ):
            speed += weight[:, None] * self.speed_index[:, i + di, j + dj].T
            time += weight[:, None] * self.time_s[:, i + di, j + dj].T
        speed[~inside] = np.nan
        return speed, time


def build_table(
    release_m: Array, drag: float, forces: Forces, farthest_m: float, highest_m: float
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
    """
    angles, speeds = np.radians(ANGLES_DEG), SPEEDS_MPS
    launches = np.zeros((len(angles) * len(speeds), 11))
    launches[:, 0:3] = release_m
    launches[:, 3] = np.outer(np.cos(angles), speeds).ravel()
    launches[:, 5] = np.outer(np.sin(angles), speeds).ravel()
    launches[:, 6] = drag
    times, states = fly_many(launches, forces, LONGEST_S, 0.05)
    along = states[:, :, 0].reshape(len(times), len(angles), len(speeds)) - release_m[0]
    up = states[:, :, 2].reshape(len(times), len(angles), len(speeds))

    grid_along = np.linspace(0.0, farthest_m, 161)[1:]
    grid_up = np.linspace(-0.05 * highest_m - 0.2, highest_m, 90)
    height = np.empty((len(angles), len(speeds), len(grid_along)))
    passing = np.empty_like(height)
    for i in range(len(angles)):
        for j in range(len(speeds)):
            path = along[:, i, j]
            height[i, j] = np.interp(grid_along, path, up[:, i, j], right=-np.inf)
            passing[i, j] = np.interp(grid_along, path, times, right=np.nan)
    speed_index = np.full((len(angles), len(grid_along), len(grid_up)), np.nan)
    time_s = np.full_like(speed_index, np.nan)
    numbers = np.arange(len(speeds), dtype=float)
    for i in range(len(angles)):
        for k in range(len(grid_along)):
            column = height[i, :, k]
            reached = np.flatnonzero(np.isfinite(column) & (column > -50.0))
            if len(reached) < 2:
                continue
            # A faster ball comes by higher; only where rounding breaks that is it mended.
            rising = np.maximum.accumulate(column[reached])
            speed_index[i, k] = np.interp(
                grid_up, rising, numbers[reached], left=np.nan, right=np.nan
            )
            time_s[i, k] = np.interp(
                grid_up, rising, passing[i, reached, k], left=np.nan, right=np.nan
            )
    return FlightTable(
        (float(grid_along[0]), float(grid_along[1] - grid_along[0])),
        (float(grid_up[0]), float(grid_up[1] - grid_up[0])),
        speed_index,
        time_s,
    )
