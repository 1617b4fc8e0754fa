"""Fit the ball's picture to the cutouts of one component, its exposure time too."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.detection.position_fit import fit_patches
from tracker.detection.positions import BallPositions, ExpectedBall, no_positions
from tracker.records import Cutouts

Array = NDArray[np.float64]

SHARES = (0.0, 0.12, 0.3, 0.5, 0.75, 1.0)
"""Exposure shares of the frame interval that are tried; between them a parabola serves."""

USUAL_SHARE = 0.3
"""Exposure share where too few pictures show it (common practice, no source)."""

LEAST_CLEAR, MOST_CLEAR = 3, 16
"""Clearest pictures that decide on the exposure: fewer decide nothing, more only cost time."""

NOT_FOUND_COST = 1e3
"""Added to the misfit of a picture in which the ball is lost: more than any misfit."""

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
    light : ndarray, shape (2,), optional
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
    return fit_patches(cutouts, expected, exposure, light), exposure


def _find_exposure(cutouts: Cutouts, expected: ExpectedBall) -> float:
    """Return the exposure share whose pictures leave the least residual.

    Only the clearest pictures decide. Where the ball moves by less than its own softness the
    share has no effect that matters, and the least one is returned.
    """
    even = np.zeros(2)
    first = fit_patches(cutouts, expected, USUAL_SHARE, even)
    clear = np.flatnonzero(first.found)
    if len(clear) < LEAST_CLEAR:
        return USUAL_SHARE
    clear = clear[np.argsort(-np.abs(first.snr[clear]), kind="stable")[:MOST_CLEAR]]
    few = replace(expected.part(clear), pixels=first.pixels[clear])
    chosen = Cutouts(cutouts.patches[clear], cutouts.corners[clear])

    def cost(at: int) -> float:
        fit = fit_patches(chosen, few, SHARES[at], even)
        return float(np.median(np.where(fit.found, fit.misfit, fit.misfit + NOT_FOUND_COST)))

    # Downhill from the middle: long exposures take many discs to draw.
    costs = {at: cost(at) for at in (1, 2)}
    best = min(costs, key=costs.__getitem__)
    step = 1 if best == 2 else -1
    while 0 <= best + step < len(SHARES):
        costs[best + step] = cost(best + step)
        if costs[best + step] >= costs[best]:
            break
        best += step
    if best in (0, len(SHARES) - 1):
        return SHARES[best]
    around = [best - 1, best, best + 1]
    curve = np.polyfit([SHARES[at] for at in around], [costs[at] for at in around], 2)
    return float(np.clip(-curve[1] / (2.0 * curve[0]), SHARES[best - 1], SHARES[best + 1]))
