"""A glance at a frame: whether the camera plainly stands as in the reference frame."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]

FEWEST_POINTS = 12
"""Points below which nothing is decided: six for each half of the frame."""

MOST_POINTS = 48
"""Points that are looked at. Chosen for time: 0.1 ms a frame."""

STANDS_PX = 0.05
"""Median shift of each half's points, px, below which the picture stands: half of the least shift
of the whole picture that is corrected."""

SCATTER_PX = 0.25
"""Median length of the shifts, px, above which nothing is decided: where the picture jumped,
a linear step from the old place says nothing, and scatters by more than this. From drawn clips."""


class Glance:
    """One linear step of Lucas and Kanade (1981) at a few corners, for small shifts only.

    Nothing is fitted to the points: where the median shift of the left, right, upper and lower
    half is nothing, no turn, roll or zoom of the camera has moved the picture. In doubt the answer
    is no, and the whole fit decides.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
        The reference frame.
    pixels : ndarray, shape (N, 2)
        Corners in it.
    side : int
        Of the window around each, px.
    """

    def __init__(self, luma: Luma, pixels: Array, side: int) -> None:
        height, width = luma.shape
        corner = np.rint(pixels - (side - 1) / 2.0).astype(np.int64)
        inside = np.all((corner >= 0) & (corner + side <= (width, height)), axis=1)
        corner = corner[inside]
        corner = corner[:: max(1, -(-len(corner) // MOST_POINTS))]
        self.able = len(corner) >= FEWEST_POINTS
        """Whether the frame has points enough."""
        if not self.able:
            return
        self._side, self._corner = side, corner
        self._before = self._windows(luma)
        windows = self._before.reshape(-1, side, side)
        down, right = (np.gradient(windows, axis=axis) for axis in (1, 2))
        slopes = np.stack([right, down], axis=1).reshape(len(corner), 2, -1)
        # Less their means, so that a change of the light is no shift.
        slopes -= slopes.mean(axis=2, keepdims=True)
        normal = slopes @ slopes.transpose(0, 2, 1)
        ridge = 1e-6 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(2)
        self._steps = -np.linalg.solve(normal + ridge + 1e-9 * np.eye(2), slopes)
        count = len(corner) // 2
        orders = [np.argsort(corner[:, axis], kind="stable") for axis in (0, 1)]
        halves = [part for order in orders for part in (order[:count], order[-count:])]
        self._halves = np.stack(halves)

    def stands(self, luma: Luma) -> bool:
        """Return whether the picture plainly stands where the reference has it.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        """
        if not self.able:
            return False
        change = self._windows(luma) - self._before
        shifts = (self._steps @ change[:, :, None])[:, :, 0]
        if np.median(np.hypot(shifts[:, 0], shifts[:, 1])) > SCATTER_PX:
            return False
        middle = np.median(shifts[self._halves], axis=1)
        return bool(np.abs(middle).max() < STANDS_PX)

    def _windows(self, luma: Luma) -> NDArray[np.float32]:
        """Return the windows around the points, shape (N, side²)."""
        every = np.lib.stride_tricks.sliding_window_view(luma, (self._side, self._side))
        found = every[self._corner[:, 1], self._corner[:, 0]].reshape(len(self._corner), -1)
        return found.astype(np.float32)
