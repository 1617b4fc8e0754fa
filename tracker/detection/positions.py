"""Where a ball is expected in some frames, and where it was found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ExpectedBall:
    """Where and how the ball is expected, one row a frame.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
        Expected column and row.
    motion_px : ndarray, shape (N, 2)
        Path in the picture from one frame to the next.
    before_px, after_px : ndarray, shape (N, 2)
        Path from this frame to the earlier and later frames that are subtracted in its cutout.
    diameters_px : ndarray, shape (N,)
    """

    pixels: Array
    motion_px: Array
    before_px: Array
    after_px: Array
    diameters_px: Array

    def part(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> "ExpectedBall":
        """Return the chosen rows."""
        return ExpectedBall(
            self.pixels[rows],
            self.motion_px[rows],
            self.before_px[rows],
            self.after_px[rows],
            self.diameters_px[rows],
        )

    def at_half_size(self, siting_px: Array) -> "ExpectedBall":
        """Return the same in a component of half the size whose pixels are off by `siting_px`."""
        return ExpectedBall(
            (self.pixels - siting_px) / 2.0,
            self.motion_px / 2.0,
            self.before_px / 2.0,
            self.after_px / 2.0,
            self.diameters_px / 2.0,
        )


@dataclass(frozen=True)
class BallPositions:
    """Fitted positions, one row a frame.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
        Where the ball would be were it lit evenly: off its middle by `lean` times the light.
    covariances : ndarray, shape (N, 2, 2)
        px², from the noise of the pixels and the floors of `tracker.detection.position_fit`.
    snr : ndarray, shape (N,)
        Fitted contrast over its standard deviation; negative for a ball darker than its background.
    found : ndarray of bool, shape (N,)
    misfit : ndarray, shape (N,)
        Mean squared residual over the noise's variance.
    lean : ndarray, shape (N,)
        Shift of the place by uneven light, px per luma step from the middle to the rim.
    contrast : ndarray, shape (N,)
        Ball's middle less its background, luma steps.
    contrasts : ndarray, shape (N, components)
        The same in each component; NaN where it was not found there.
    purity : ndarray, shape (N,)
        Energy of the ball's picture over that of everything else in the cutout, noise left out.
    freedom : int
        Degrees of freedom of each picture's fit; 0 where several fits were joined.
    """

    pixels: Array
    covariances: Array
    snr: Array
    found: NDArray[np.bool_]
    misfit: Array
    lean: Array
    contrast: Array
    contrasts: Array
    purity: Array
    freedom: int = 0


def no_positions() -> BallPositions:
    """Return the positions of no frame."""
    nothing = np.zeros(0)
    return BallPositions(
        np.zeros((0, 2)),
        np.zeros((0, 2, 2)),
        nothing,
        np.zeros(0, bool),
        nothing,
        nothing,
        nothing,
        np.zeros((0, 1)),
        nothing,
    )
