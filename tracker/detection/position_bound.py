"""How well a ball can be placed, before there is a picture of it.

The picture is that of `tracker.detection.ball_image`: a disc with a soft edge, drawn out along
its path while the shutter was open, on even noise. Its Fourier transform is known in closed form,
so the Fisher information of its place is an integral over frequencies (S. M. Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, 1993, ch. 3; the disc's transform as in
R. N. Bracewell, The Fourier Transform and Its Applications, 1978, ch. 12; both from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.detection.ball_image import EDGE_PX
from tracker.detection.position_fit import LEAST_U_PX, SHAPE_SHARE

Array = NDArray[np.float64]

DIFFERENCE_VARIANCE = 1.5
"""Variance of a frame less the mean of two others, over that of one frame."""

SHARPEST = 5.0
"""Frequencies beyond this many times the soft edge's own carry less than 1e-10 of its power."""


@dataclass(frozen=True)
class PositionBound:
    """How clearly a ball shows and how well it can be placed, one row a frame.

    Attributes
    ----------
    covariances : ndarray, shape (N, 2, 2)
        Of column and row, px², the floors of `tracker.detection.position_fit` included.
    snr : ndarray, shape (N,)
        Contrast over its standard deviation.
    """

    covariances: Array
    snr: Array


def position_bound(
    diameters_px: ArrayLike, streaks_px: ArrayLike, contrast: float, noise: float
) -> PositionBound:
    """Return how well a ball can be placed in each of several frames (Cramér-Rao bound).

    Parameters
    ----------
    diameters_px : array_like, shape (N,)
    streaks_px : array_like, shape (N, 2)
        Path of the ball while the shutter is open.
    contrast : float
        Ball less its background, luma steps.
    noise : float
        Standard deviation of a pixel from sensor and encoder together, luma steps; taken as
        independent from pixel to pixel.
    """
    diameter = np.asarray(diameters_px, float).reshape(-1)
    streak = np.asarray(streaks_px, float).reshape(-1, 2)
    length = np.linalg.norm(streak, axis=1)
    energy, along, across = _integrals(diameter, length)
    strength = contrast**2 / (DIFFERENCE_VARIANCE * noise**2)
    way = np.where(
        length[:, None] > 1e-9, streak / np.maximum(length, 1e-9)[:, None], np.array([1.0, 0.0])
    )
    beside = np.column_stack([-way[:, 1], way[:, 0]])
    covariances = (
        np.einsum("ni,nj->nij", way, way) / (strength * along)[:, None, None]
        + np.einsum("ni,nj->nij", beside, beside) / (strength * across)[:, None, None]
    )
    floor = LEAST_U_PX**2 + (SHAPE_SHARE * diameter) ** 2
    return PositionBound(
        covariances + floor[:, None, None] * np.eye(2), np.sqrt(np.maximum(strength * energy, 0.0))
    )


def _integrals(diameter: Array, length: Array) -> tuple[Array, Array, Array]:
    """Return the energy of a picture of unit contrast and of its slopes along and across.

    By Parseval's theorem the integrals of the squared picture, and of its squared derivative
    along and across the streak, each shape (N,); unit px², 1 and 1.
    """
    from scipy.special import j1

    highest = SHARPEST / EDGE_PX
    # Enough nodes for the waves that the disc's transform and the streak's make of the product.
    turns = highest * float(np.max(diameter + length, initial=0.0))
    nodes, weights = np.polynomial.legendre.leggauss(min(24 + int(0.5 * turns), 600))
    k = 0.5 * highest * (nodes + 1.0)
    radius = diameter[:, None] / 2.0
    reach = np.maximum(k * radius, 1e-12)
    disc = np.pi * radius**2 * 2.0 * j1(reach) / reach
    power = disc**2 * np.exp(-((k * EDGE_PX) ** 2)) * (weights * 0.5 * highest) * k
    # A quarter turn holds all angles, by symmetry.
    count = min(8 + int(0.3 * highest * float(np.max(length, initial=0.0))), 400)
    angle = (np.arange(count) + 0.5) / count * np.pi / 2.0
    blur = np.sinc(length[:, None, None] * k[:, None] * np.cos(angle) / (2.0 * np.pi)) ** 2
    spread = blur.mean(axis=2)
    toward = blur @ np.cos(angle) ** 2 / count
    share = 1.0 / (2.0 * np.pi)
    energy = share * np.sum(power * spread, axis=1)
    along = share * np.sum(power * k**2 * toward, axis=1)
    across = share * np.sum(power * k**2 * (spread - toward), axis=1)
    return energy, along, across
