"""A ball's place from luma and colour together."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear
from tracker.detection.exposure import fit_positions
from tracker.detection.positions import BallPositions, ExpectedBall
from tracker.records import Candidates, Cutouts

Array = NDArray[np.float64]

SITING_PX = np.array([0.25, 0.5])
"""Where a half-size colour pixel lies in its two by two luma pixels, px: level with the left pair
or in the middle, as the encoder chose (ITU-T H.264, table E-1), so halfway between the two."""

SITING_U_PX = 0.25
"""Standard uncertainty of that, px: half the distance between the two choices."""

BALL_LUMA = 130.0
"""Ball's picture less black, luma steps, where nothing says: exposures are set for the whole scene,
and black is 16 of 235. Common practice, no source."""

CLEAR = 6.0
"""Contrast, in standard deviations, from which a position helps to find the true siting (common
practice, no source)."""

LEAST_CLEAR = 5
"""Positions from which siting and colour contrast are found: fewer leave no median to rely on."""

APART = 25.0
"""Squared distance, over its covariance, beyond which luma and colour show two different things:
5 standard deviations."""

APART_FLOOR_PX2 = 0.1
"""Variance granted to both beside their own, px²: encoders shift colour by some tenths of a
pixel (common practice, no source)."""

LEAN_RIDGE = 0.01 / 900.0
"""Weight of a prior that the siting does not depend on the light, for clips in which the contrast
never changes: 30 luma steps of light, at a residual of 0.1 px."""

LEAST_SIGMA_PX = 0.02
"""Smallest scatter of colour about luma, px: both are placed no better."""


def locate_ball(
    chosen: list[tuple[Candidates, int]],
    expected: ExpectedBall,
    exposure: float | None,
    light: Array | None = None,
) -> tuple[BallPositions, float]:
    """Measure the ball in every frame, in luma and, where there is one, in blue difference.

    Where both components show it, their places are weighted by their information. The
    unknown siting of the colour pixels is found from those frames.

    Parameters
    ----------
    chosen : list of (Candidates, int)
        For each frame its candidates and the row of the one whose cutout holds the ball.
    expected : ExpectedBall
        Aligned with `chosen`.
    exposure : float, optional
        Share of the frame interval during which the shutter is open, if known.
    light : ndarray, shape (N, 2), optional
        How unevenly the ball is lit in each frame, if known
        (`tracker.detection.exposure.fit_positions`).

    Returns
    -------
    positions : BallPositions
    exposure : float
    """
    luma, exposure = fit_positions(
        rows_of([(c.luma, k) for c, k in chosen]), expected, exposure, light
    )
    colours = [(c.blueness, k) for c, k in chosen if c.blueness is not None]
    if len(colours) != len(chosen) or not chosen:
        return luma, exposure
    colour, _ = fit_positions(rows_of(colours), expected.at_half_size(SITING_PX), exposure)
    return weighted(luma, on_luma(colour, luma)), exposure


def on_luma(colour: BallPositions, luma: BallPositions) -> BallPositions:
    """Return the positions in colour in pixels of luma, the siting found from both."""
    # Where a ball is darker its colour is weaker too, in proportion.
    clear = colour.found & (np.abs(colour.snr) > CLEAR)
    enough = np.sum(clear) >= LEAST_CLEAR
    paler = float(np.median(colour.contrast[clear])) / BALL_LUMA if enough else 0.0
    colour = replace(
        colour,
        pixels=2.0 * colour.pixels + SITING_PX,
        covariances=4.0 * colour.covariances,
        lean=2.0 * paler * colour.lean,
    )
    both = luma.found & clear & (np.abs(luma.snr) > CLEAR)
    siting_u = SITING_U_PX
    if np.sum(both) >= LEAST_CLEAR:
        gap = luma.pixels[both] - colour.pixels[both]
        shift, siting_u = _siting(gap, luma.lean[both] - colour.lean[both])
        colour = replace(colour, pixels=colour.pixels + shift)
    return replace(colour, covariances=colour.covariances + siting_u**2 * np.eye(2))


def _siting(gap: Array, lean: Array) -> tuple[Array, float]:
    """Return the shift that lays colour on luma, and its standard uncertainty, px.

    The part of the gap that uneven light makes is separated by its dependence on the lean.
    """
    design = np.column_stack([np.ones(len(lean)), lean])
    ridge = np.diag([0.0, LEAN_RIDGE])
    fit = fit_linear(design, gap, rounds=5, least_sigma=LEAST_SIGMA_PX, ridge=ridge)
    return fit.parameters[0], fit.sigma * float(np.sqrt(fit.cofactors[0, 0]))


def weighted(luma: BallPositions, colour: BallPositions) -> BallPositions:
    """Return both components' places weighted by their information, or the one there is.

    Where both are sure of their places and disagree, one of them shows something else: the
    clearer one is used alone.
    """
    by_luma = np.linalg.inv(luma.covariances) * luma.found[:, None, None]
    by_colour = np.linalg.inv(colour.covariances) * colour.found[:, None, None]
    gap = luma.pixels - colour.pixels
    either = np.linalg.inv(luma.covariances + colour.covariances + APART_FLOOR_PX2 * np.eye(2))
    distance = np.einsum("ni,nij,nj->n", gap, either, gap)
    apart = luma.found & colour.found & (distance > APART)
    clearer = np.abs(luma.snr) >= np.abs(colour.snr)
    by_colour[apart & clearer] = 0.0
    by_luma[apart & ~clearer] = 0.0
    covariance = np.linalg.inv(by_luma + by_colour + 1e-12 * np.eye(2))
    place = np.einsum(
        "nij,nj->ni",
        covariance,
        np.einsum("nij,nj->ni", by_luma, np.nan_to_num(luma.pixels))
        + np.einsum("nij,nj->ni", by_colour, np.nan_to_num(colour.pixels)),
    )
    # Each component's share in the place carries its lean.
    share = np.trace(covariance @ by_luma, axis1=1, axis2=2) / 2.0
    return BallPositions(
        pixels=place,
        covariances=np.asarray(covariance, float),
        snr=np.where(clearer, luma.snr, colour.snr),
        found=luma.found | colour.found,
        misfit=np.minimum(luma.misfit, colour.misfit),
        lean=share * luma.lean + (1.0 - share) * colour.lean,
        contrast=np.where(clearer, luma.contrast, colour.contrast),
        contrasts=np.concatenate([luma.contrasts, colour.contrasts], axis=1),
        purity=np.where(clearer, luma.purity, colour.purity),
    )


def rows_of(chosen: list[tuple[Cutouts, int]]) -> Cutouts:
    """Return one row of each of many cutouts."""
    behind = [None if each.behind is None else each.behind[row] for each, row in chosen]
    known = [each for each in behind if each is not None]
    return Cutouts(
        np.array([cutouts.patches[row] for cutouts, row in chosen]),
        np.array([cutouts.corners[row] for cutouts, row in chosen]),
        np.array(known) if len(known) == len(chosen) else None,
    )
