"""Fit the ball's picture to the cutouts of one component, its exposure time too."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.detection.position_fit import fit_patches
from tracker.detection.positions import BallPositions, ExpectedBall, no_positions
from tracker.records import Cutouts

Array = NDArray[np.float64]

STREAKS = (0.0, 0.4, 0.8, 1.3, 2.0, 3.0, 4.5, 7.0)
"""Streaks that are tried, in diameters of the ball: close enough for a parabola between them. Steps
in shares of the frame interval are many diameters where a ball moves far between frames."""

USUAL_SHARE = 0.3
"""Exposure share where too few pictures show it (common practice, no source)."""

LEAST_CLEAR, MOST_CLEAR = 3, 16
"""Clearest pictures that decide on the exposure: fewer decide nothing, more only cost time."""

NOT_FOUND_COST = 1e3
"""Added to the misfit of a picture in which the ball is lost: more than any misfit."""

LOOK_AHEAD = 2
"""Streaks tried beyond the best one: a dip of one only is noise (common practice, no source)."""

LEAST_GAIN = 9.0
"""Gain in chi-square of all pictures from which a streak counts: three standard deviations."""

MOST_UNEVEN = 60.0
"""Light that is more uneven than this, luma steps, is not drawn: a fit may diverge (common
practice, no source)."""


def fit_positions(
    cutouts: Cutouts,
    expected: ExpectedBall,
    exposure: float | None = None,
    light: Array | None = None,
) -> tuple[BallPositions, float]:
    """Fit the ball's picture to cutouts of change.

    Parameters
    ----------
    cutouts : Cutouts
        One patch a row.
    expected : ExpectedBall
        In the same component's pixels.
    exposure : float, optional
        Share of the frame interval during which the shutter is open; found from the
        pictures when left out.
    light : ndarray, shape (N, 2) or (2,), optional
        By how many luma steps the ball is brighter at its rim than in its middle, towards greater
        columns and rows; even light when left out.

    Returns
    -------
    positions : BallPositions
    exposure : float
        The share used.
    """
    if len(cutouts.patches) == 0:
        return no_positions(), 0.0 if exposure is None else exposure
    if exposure is None:
        exposure = _find_exposure(cutouts, expected)
    light = np.zeros(2) if light is None else np.clip(light, -MOST_UNEVEN, MOST_UNEVEN)
    light = np.broadcast_to(light, (len(cutouts.patches), 2))
    return fit_patches(cutouts, expected, exposure, light), exposure


def _find_exposure(cutouts: Cutouts, expected: ExpectedBall) -> float:
    """Return the exposure share whose pictures leave the least residual.

    Only the clearest pictures decide. A streak is drawn only as far as the pictures ask for it:
    where the residual does not tell it from none, the share is zero.
    """
    even = np.zeros((len(cutouts.patches), 2))
    first = fit_patches(cutouts, expected, 0.0, even)
    clear = np.flatnonzero(first.found)
    if len(clear) < LEAST_CLEAR:
        return USUAL_SHARE
    clear = clear[np.argsort(-np.abs(first.snr[clear]), kind="stable")[:MOST_CLEAR]]
    few = replace(expected.part(clear), pixels=first.pixels[clear])
    chosen = cutouts.part(clear)
    path = float(np.median(np.linalg.norm(few.motion_px, axis=1)))
    shares = np.array(STREAKS) * float(np.median(few.diameters_px)) / max(path, 1e-6)
    shares = np.append(shares[shares < 1.0], 1.0)
    fits: list[BallPositions] = []
    noise, costs = np.ones(len(clear)), [0.0]
    for share in shares:
        fits.append(fit_patches(chosen, few, float(share), even[clear]))
        # A longer streak is fitted in a larger window: what noise leaves there is taken off. It is
        # less than its rim shows where light that flickers is uneven.
        noise = np.minimum(noise, fits[-1].misfit)
        costs = [float(np.median(_excess(fit, noise))) for fit in fits]
        if len(costs) - int(np.argmin(costs)) > LOOK_AHEAD:
            break
    return _lowest(shares, np.array(costs), len(clear))


def _excess(fit: BallPositions, noise: Array) -> Array:
    """Return the chi-square of each picture beyond the noise, as a share of the expected one."""
    lost = np.where(fit.found, 0.0, NOT_FOUND_COST)
    excess: Array = (fit.misfit - noise) * fit.freedom + lost
    return excess


def _lowest(shares: Array, costs: Array, pictures: int) -> float:
    """Return where a parabola through the lowest cost and its neighbours is lowest."""
    best = int(np.argmin(costs))
    if pictures * (costs[0] - costs[best]) < LEAST_GAIN or best == 0:
        return float(shares[0])
    if best == len(costs) - 1:
        return float(shares[best])
    around = slice(best - 1, best + 2)
    curve = np.polyfit(shares[around], costs[around], 2)
    lowest = -curve[1] / (2.0 * curve[0]) if curve[0] > 0.0 else shares[best]
    return float(np.clip(lowest, shares[best - 1], shares[best + 1]))
