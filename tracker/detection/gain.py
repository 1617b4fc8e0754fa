"""How much summed change a ball of some contrast makes, as the finder measures change."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from tracker.detection.ball_image import EDGE_PX, LEAST_RADIUS_PX
from tracker.detection.component import shrink_of

Array = NDArray[np.float64]

LEAST_STREAK_PX = 1e-3
"""A shorter streak is none, px: its share of the width is known to seven digits no more."""


def change_per_contrast(
    diameter_px: ArrayLike, streak_px: ArrayLike, usual_diameter_px: float
) -> Array:
    """Return the summed change of four pixels over the ball's contrast, shape (N,).

    The ball's picture is taken for a Gaussian with the variance of a disc, drawn out along its
    motion. The four pixels lie about its middle.

    Parameters
    ----------
    diameter_px, streak_px : array_like, shape (N,)
        Of the ball, and its path while the shutter is open, in the component's pixels.
    usual_diameter_px : float
        Diameter that the finder was set for.
    """
    diameter, streak = np.asarray(diameter_px, float), np.asarray(streak_px, float)
    shrink = shrink_of(usual_diameter_px)
    radius = np.maximum(diameter / 2.0, LEAST_RADIUS_PX)
    # Of a disc with a soft edge: its volume, and its variance along any one direction. A small
    # disc loses in its middle half of what the edge adds outside: found on drawn balls.
    volume = np.pi * (radius**2 + EDGE_PX**2 / 2.0)
    blur = np.sqrt(radius**2 / 4.0 + EDGE_PX**2 / 2.0)
    # Four pixels, each the mean of a square of them: half their side is the shrinking.
    caught = _caught(float(shrink), np.maximum(streak, LEAST_STREAK_PX), blur)
    caught *= _caught(float(shrink), np.full_like(streak, LEAST_STREAK_PX), blur)
    found: Array = volume / shrink**2 * caught
    return found


def _caught(half: float, streak: Array, blur: Array) -> Array:
    """Return the share of a blurred streak that lies within half a width of its middle.

    The integral of a normal distribution's own integral over the streak.
    """
    near, far = (half - streak / 2.0) / blur, (half + streak / 2.0) / blur
    found: Array = 2.0 * blur / streak * (_integral(far) - _integral(near)) - 1.0
    return found


def _integral(at: Array) -> Array:
    """Return the integral of the normal distribution function up to a place."""
    found: Array = at * ndtr(at) + np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)
    return found
