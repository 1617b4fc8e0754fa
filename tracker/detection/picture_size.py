"""How wide a ball is seen, from its pictures.

Its disc is fitted to each picture with several widths; at each of them place, contrast and a slope
of the light are free, since a ball's dark side otherwise passes for background and leaves a smaller
ball. A streak only lengthens the disc, so the width is that across the motion.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.detection.ball_image import EDGE_PX as SOFT_PX
from tracker.detection.ball_image import ball_images
from tracker.detection.exposure import fit_positions
from tracker.detection.locating import rows_of
from tracker.detection.position_fit import PictureFit
from tracker.detection.positions import ExpectedBall
from tracker.records import Candidates, Cutouts

Array = NDArray[np.float64]

EDGE_PX = 0.35
"""Softness of the disc's edge, px (1 sd). Less than where a place is measured: a softer edge would
pass for a part of the ball. From balls laid over real frames."""

STEP, STEPS = 0.15, 8
"""Step between the widths that are tried, as a logarithm, and steps to either side: to a third and
to three times the expected one."""

LARGEST = 1.8
"""A ball so many times as wide as expected fits into the part of a picture that is fitted: more
of it holds other things."""

ROUNDS = 5
"""Gauss-Newton steps of place, contrast and light for each width."""

LONGEST_STEP_PX = 0.7
"""Limit of a step of the place, px: the linear law holds over the edge only."""

LIGHT_U = 30.0
"""Standard uncertainty of the slope of the light, luma steps from the middle to the rim: Lambert's
law (`tracker.fitting.circumstances`)."""

MOST_LIGHT = 60.0
"""Light that is more uneven than this, luma steps, is not drawn. Common practice, no source."""

DRIFT_PX = 3.0
"""How far beyond the ball and its streak a place may move, px."""

MOST_U = 0.4
"""Largest standard uncertainty of a logarithm of the width that tells anything."""


LEAST_GAIN = 36.0
"""Least gain in chi-square over no ball at all, in what the best disc leaves unexplained: six
standard deviations, since place, light and width are chosen to suit."""


@dataclass(frozen=True)
class PictureSizes:
    """How much wider than expected a ball is seen, one row a picture.

    Attributes
    ----------
    log_ratio, u : ndarray, shape (N,)
        Logarithm of the ratio, and its standard uncertainty from the picture alone.
    found : ndarray of bool, shape (N,)
        Whether there is a ball, and a width between the least and the largest fits best.
    """

    log_ratio: Array
    u: Array
    found: NDArray[np.bool_]


def ball_sizes(
    chosen: list[tuple[Candidates, int]], expected: ExpectedBall, exposure: float | None = None
) -> PictureSizes:
    """Return how wide the ball is in the luma of each frame.

    Parameters
    ----------
    chosen, expected, exposure
        As of `tracker.detection.locating.locate_ball`, one picture at least.
    """
    cutouts = rows_of([(candidates.luma, row) for candidates, row in chosen])
    if exposure is None:
        exposure = fit_positions(cutouts, expected)[1]
    return picture_sizes(cutouts, expected, exposure)


def picture_sizes(cutouts: Cutouts, expected: ExpectedBall, exposure: float) -> PictureSizes:
    """Return how wide the ball is in each picture.

    Parameters
    ----------
    cutouts : Cutouts
        One patch a row.
    expected : ExpectedBall
        In the same component's pixels.
    exposure : float
        Share of the frame interval during which the shutter is open.
    """
    logs = STEP * np.arange(-STEPS, STEPS + 1)
    costs = np.array([_cost(cutouts, expected, exposure, float(np.exp(each))) for each in logs])
    chi = np.where(np.isfinite(costs[:, :, 0]), costs[:, :, 0], np.inf)
    freedom, none = costs[0, :, 1], costs[0, :, 2]
    picture = np.arange(chi.shape[1])
    best = np.argmin(chi, axis=0)
    middle = np.clip(best, 1, len(logs) - 2)
    before, lowest, after = (chi[middle + step, picture] for step in (-1, 0, 1))
    # What no disc explains makes the width as uncertain as it makes the misfit large.
    misfit = np.maximum(lowest / freedom, 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        bend = before - 2.0 * lowest + after
        ratio = logs[middle] + 0.5 * STEP * (before - after) / bend
        u = STEP * np.sqrt(2.0 / bend * misfit)
        clear = none - lowest > LEAST_GAIN * misfit
    found = clear & (best == middle) & np.isfinite(ratio) & np.isfinite(u) & (u < MOST_U)
    return PictureSizes(np.where(found, ratio, 0.0), np.where(found, u, np.inf), found)


def _cost(cutouts: Cutouts, expected: ExpectedBall, exposure: float, times: float) -> Array:
    """Return what a width leaves of each picture, shape (N, 3).

    Chi-square, its degrees of freedom, and chi-square without any ball.
    """
    wide = replace(expected, diameters_px=times * expected.diameters_px)
    fit = PictureFit(cutouts, wide, exposure, LARGEST / times)
    count = len(cutouts.patches)
    light, contrast = np.zeros((count, 2)), np.ones(count)
    for step in range(ROUNDS + 1):
        shapes = _shapes(fit, light)
        if step == 0:
            contrast = _first_contrast(shapes[0], fit.data)
        bright = contrast[:, None]
        moves = [bright * each for each in shapes[1:3]]
        if len(shapes) > 5:
            moves = [own + bent for own, bent in zip(moves, shapes[5:], strict=True)]
        design = np.stack([shapes[0], np.ones_like(shapes[0]), *shapes[3:5], *moves], axis=2)
        data = fit.data + shapes[0] * fit.texture
        normal = design.transpose(0, 2, 1) @ design
        whole = np.trace(normal, axis1=1, axis2=2)
        normal += 1e-8 * whole[:, None, None] * np.eye(6)
        normal[:, [2, 3], [2, 3]] += (fit.sigma**2 / LIGHT_U**2)[:, None]
        answer = np.linalg.solve(normal, design.transpose(0, 2, 1) @ data[:, :, None])[:, :, 0]
        if step == ROUNDS:
            break
        contrast, light = answer[:, 0], np.clip(answer[:, 2:4], -MOST_LIGHT, MOST_LIGHT)
        length = np.maximum(np.linalg.norm(answer[:, 4:], axis=1), 1e-9)
        fit.place += answer[:, 4:] * np.minimum(1.0, LONGEST_STEP_PX / length)[:, None]
    residual = data - (design @ answer[:, :, None])[:, :, 0]
    chi = np.sum(residual**2, axis=1) / fit.sigma**2
    drift = np.linalg.norm(fit.place - fit.local, axis=1)
    allowed = fit.radius + np.linalg.norm(fit.streak, axis=1) / 2.0 + DRIFT_PX
    freedom = np.full(count, data.shape[1] - 7.0)
    level = fit.data - fit.data.mean(axis=1, keepdims=True)
    none = np.sum(level**2, axis=1, dtype=float) / fit.sigma**2
    return np.column_stack([np.where(drift < allowed, chi, np.nan), freedom, none])


def _shapes(fit: PictureFit, light: Array) -> list[Array]:
    """Return the ball's picture and what its place and its light add, as `ball_images` does."""
    # A larger picture with the usual edge is one with a harder edge.
    finer = SOFT_PX / EDGE_PX
    columns, rows = (np.float32(finer) * each for each in fit.grid)

    def images(place: Array) -> list[Array]:
        drawn = ball_images(
            (columns, rows), finer * place, finer * fit.streak, finer * fit.radius, light
        )
        by_place = (1, 2, 5, 6)
        scales = [finer if at in by_place else 1.0 for at in range(len(drawn))]
        return [np.asarray(scale * each, float) for scale, each in zip(scales, drawn, strict=True)]

    found = images(fit.place)
    for shift in fit.ghosts:
        for own, ghost in zip(found, images(fit.place + shift), strict=True):
            own -= 0.5 * ghost
    return found


def _first_contrast(picture: Array, data: NDArray[np.float32]) -> Array:
    flat = picture - picture.mean(axis=1, keepdims=True)
    whole = np.maximum(np.sum(flat**2, axis=1), 1e-12)
    return np.asarray(np.sum(flat * data, axis=1) / whole, float)
