"""Arcs: paths in the picture whose acceleration is nearly constant.

Without a calibrated camera a flight shows only as such a path: smooth, with an acceleration that
points down and changes little.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear

Array = NDArray[np.float64]

LEAST_CUBIC, LEAST_QUARTIC = 12, 40
"""Positions from which on a path's curve is of third and of fourth degree: drag and perspective
bend a longer path away from a parabola. Common practice, no source."""

LEAST_SEXTIC, LEAST_SEXTIC_S = 60, 1.5
"""Positions and time, s, from which on it is of sixth degree: of a lob of 3.5 s at 25 m/s and 59
degrees, shown 1920 px wide, a curve of fourth degree leaves 2.5 px, one of sixth 0.06 px."""

LEAST_UNEVEN = 20
"""Fewest positions from which the acceleration's change along the path is estimated."""

CURVE_ROUNDS, UNEVEN_ROUNDS = 4, 3
"""Robust reweightings of either polynomial."""

LEAST_SIGMA_PX = 0.3
"""Scatter below which positions do not count as outliers of one another, px."""

LEAST_NOISE_PX = 0.4
"""Least standard uncertainty of a position along an axis, px: candidates are placed on a grid of
blocks. Common practice, no source."""


@dataclass(frozen=True)
class Arc:
    """A path in the picture.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
    times_s : ndarray, shape (N,)
    pixels : ndarray, shape (N, 2)
    seen_share : float
        Share of the frames between its ends in which it has a position.
    scatter_px : float
        Root mean square distance of its positions from a smooth curve.
    acceleration_pxps2 : ndarray, shape (2,)
        In the middle of its time.
    acceleration_u_pxps2 : float
        Standard uncertainty of either component.
    velocity_pxps : ndarray, shape (2,)
        In the middle of its time.
    unevenness, unevenness_u : float
        Downward acceleration towards both ends together less that in the middle, as a share of the
        latter, and its standard uncertainty; zero where the path is too short for an estimate.
    """

    frames: NDArray[np.int64]
    times_s: Array
    pixels: Array
    seen_share: float
    scatter_px: float
    acceleration_pxps2: Array
    acceleration_u_pxps2: float
    velocity_pxps: Array
    unevenness: float = 0.0
    unevenness_u: float = 0.0

    @property
    def duration_s(self) -> float:
        """Time from its first position to its last."""
        return float(self.times_s[-1] - self.times_s[0])

    def at(self, times_s: Array) -> Array:
        """Return positions on the smooth curve, shape (M, 2)."""
        return _curve(self.times_s, self.pixels)[0](times_s)


class _Polynomial:
    """A polynomial in time, of two columns, about a middle time."""

    def __init__(self, middle: float, coefficients: Array) -> None:
        self.middle, self.coefficients = middle, coefficients

    def __call__(self, times_s: Array) -> Array:
        since = np.asarray(times_s, float) - self.middle
        powers = since[:, None] ** np.arange(len(self.coefficients))
        return np.asarray(powers @ self.coefficients, float)


def fit_arc(positions: Array, frame_s: float) -> Arc:
    """Return the path through positions.

    Parameters
    ----------
    positions : ndarray, shape (N, 4)
        Frame, time (s), column and row (px) of each.
    frame_s : float
        Usual time from one frame looked at to the next.
    """
    times, pixels = positions[:, 1], positions[:, 2:]
    curve, cofactors = _curve(times, pixels)
    off = np.linalg.norm(pixels - curve(times), axis=1)
    # Three medians cut what an outlier adds; half a pixel keeps a perfect path from cutting itself.
    scatter = float(np.sqrt(np.mean(np.minimum(off, 3.0 * np.median(off) + 0.5) ** 2)))
    expected = max(1.0, round((times[-1] - times[0]) / frame_s))
    noise = max(scatter / np.sqrt(2.0), LEAST_NOISE_PX)
    unevenness, unevenness_u = _unevenness(times, pixels[:, 1], noise)
    return Arc(
        frames=positions[:, 0].astype(np.int64),
        times_s=times,
        pixels=pixels,
        seen_share=float(min(1.0, (len(times) - 1) / expected)),
        scatter_px=scatter,
        acceleration_pxps2=2.0 * curve.coefficients[2],
        acceleration_u_pxps2=float(2.0 * noise * np.sqrt(cofactors[2, 2])),
        velocity_pxps=curve.coefficients[1],
        unevenness=unevenness,
        unevenness_u=unevenness_u,
    )


def _curve(times: Array, pixels: Array) -> tuple[_Polynomial, Array]:
    """Return the polynomial through positions, and the cofactors of its coefficients.

    The degree is 2 to 4, by the number of positions, and 6 where they also last long.
    """
    middle = float(times.mean())
    degree = 2 + int(len(times) >= LEAST_CUBIC) + int(len(times) >= LEAST_QUARTIC)
    if len(times) >= LEAST_SEXTIC and times[-1] - times[0] >= LEAST_SEXTIC_S:
        degree = 6
    design = (times - middle)[:, None] ** np.arange(degree + 1)
    fit = fit_linear(design, pixels, rounds=CURVE_ROUNDS, least_sigma=LEAST_SIGMA_PX)
    return _Polynomial(middle, fit.parameters), fit.cofactors


def _unevenness(times: Array, rows: Array, noise: float) -> tuple[float, float]:
    """Return `Arc.unevenness` and its standard uncertainty from a polynomial of fourth degree."""
    if len(times) < LEAST_UNEVEN:
        return 0.0, 0.0
    design = (times - times.mean())[:, None] ** np.arange(5)
    fit = fit_linear(design, rows, rounds=UNEVEN_ROUNDS, least_sigma=LEAST_SIGMA_PX)
    # Acceleration 2 a2 + 12 a4 t²: held against the middle's at 0.35 of the duration either side.
    lever = 6.0 * (0.35 * float(times[-1] - times[0])) ** 2
    lever /= max(abs(float(fit.parameters[2])), 1e-9)
    u = float(np.sqrt(fit.cofactors[4, 4]))
    return float(fit.parameters[4]) * lever, noise * u * lever
