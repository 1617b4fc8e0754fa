"""How far each followed point scatters about the motion of the whole picture."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NOISE_FLOOR_PX = 0.02
"""Least scatter of a followed point, working px."""

WILDEST_PX = 1.0
"""A point that scatters more than this shows no motion, working px; nor do points whose median
does."""

CAPPED_PX = 3.0
"""A larger residual counts as this one, working px: a point that somebody hid is soon back."""

MEMORY = 0.9
"""Share of a point's mean square that is kept from one look to the next."""

FIRST_LOOKS = 2
"""Looks that what all points have in common counts for at first. Common practice, no source."""


class PointScatter:
    """The root mean square residual of each point, learned from frame to frame.

    An encoder draws weak texture anew at its key frames: a point of grass then lies off by a pixel
    for hundreds of frames, and one at an edge of the horizon by a twentieth of that. Leaves and
    clouds scatter for ever. So each point has its own standard deviation. Residuals count from
    what the motion is taken to be: where the camera is taken to stand, from no motion at all.

    Parameters
    ----------
    count : int
        Number of points.
    shrink : float
        Working pixels in a pixel of the frame.
    """

    def __init__(self, count: int, shrink: float) -> None:
        self._floor = NOISE_FLOOR_PX / shrink
        self._wildest, self._capped = WILDEST_PX / shrink, CAPPED_PX / shrink
        self._square: Array | None = None
        self._count, self._looks = count, 0

    @property
    def own_px(self) -> Array:
        """Standard deviation of each point's coordinates, px, shape (N,); equal at first."""
        if self._square is None:
            return np.full(self._count, self._floor)
        return np.sqrt(np.maximum(self._square, self._floor**2))

    @property
    def calm(self) -> NDArray[np.bool_]:
        """Which points scatter little enough to show a motion, shape (N,)."""
        found: NDArray[np.bool_] = self.own_px < self._wildest
        return found

    def learn(self, residual: Array, found: NDArray[np.bool_], common_px: float) -> None:
        """Take the residuals of a frame.

        Parameters
        ----------
        residual : ndarray, shape (N, 2)
            Px.
        found : ndarray of bool, shape (N,)
            Which points were found at all; another keeps what is known of it.
        common_px : float
            Scatter of all points in this frame, from which the first frame starts.
        """
        if self._square is None:
            self._square = np.full(self._count, max(common_px, self._floor) ** 2)
        square = np.minimum(0.5 * np.sum(residual**2, axis=1), self._capped**2)
        self._looks += 1
        share = max(1.0 - MEMORY, 1.0 / (self._looks + FIRST_LOOKS))
        learned = (1.0 - share) * self._square + share * square
        self._square = np.where(found, learned, self._square)
