"""A ball's place from luma and colour together."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear
from tracker.detection.appearance import Expected, Sighting, measure
from tracker.records import Candidates, Cutouts

Array = NDArray[np.float64]

SITING_PX = np.array([0.25, 0.5])
"""Where a half-size colour pixel lies in its two by two luma pixels: level with the left pair
or in the middle, as the encoder chose (ITU-T H.264, table E-1), so halfway between the two."""

SITING_U_PX = 0.25
"""Standard uncertainty of that."""

BALL_LUMA = 130.0
"""How much brighter than black a ball's picture is, luma steps, where nothing tells: exposures are
set for the whole scene, and black is 16 of 235. Common practice, no source."""

CLEAR = 6.0
"""Contrast, in standard deviations, from which a sighting helps to find the true siting."""


def sight(
    chosen: list[tuple[Candidates, int]],
    expected: Expected,
    exposure: float | None,
    light: Array | None = None,
) -> tuple[Sighting, float]:
    """Measure the ball in every frame, in luma and, where there is one, in blue difference.

    Where both components show it, their places are weighted by their information. The
    unknown siting of the colour pixels is found from those frames.

    Parameters
    ----------
    chosen : list of (Candidates, int)
        For each frame its candidates and the row of the one whose patch holds the ball.
    expected : Expected
        Aligned with `chosen`.
    exposure : float, optional
        Share of the frame interval during which the shutter was open, if known.
    light : ndarray, shape (2,), optional
        How unevenly the ball is lit, if known (`tracker.detection.appearance.measure`).

    Returns
    -------
    sighting : Sighting
    exposure : float
    """
    luma = _rows([(c.luma, k) for c, k in chosen])
    bright, exposure = measure(luma, expected, exposure, light)
    tints = [(c.blueness, k) for c, k in chosen if c.blueness is not None]
    if len(tints) != len(chosen) or not chosen:
        return bright, exposure
    half = Expected(
        (expected.pixels - SITING_PX) / 2.0,
        expected.motion_px / 2.0,
        expected.before_px / 2.0,
        expected.after_px / 2.0,
        expected.diameters_px / 2.0,
    )
    tint, _ = measure(_rows(tints), half, exposure)
    # Where a ball is darker its colour is weaker too, in proportion.
    clear = tint.found & (np.abs(tint.snr) > CLEAR)
    paler = float(np.median(tint.contrast[clear])) / BALL_LUMA if np.sum(clear) >= 5 else 0.0
    tint = replace(
        tint,
        pixels=2.0 * tint.pixels + SITING_PX,
        covariances=4.0 * tint.covariances,
        lean=2.0 * paler * tint.lean,
    )
    both = bright.found & clear & (np.abs(bright.snr) > CLEAR)
    siting_u = SITING_U_PX
    if np.sum(both) >= 5:
        gap = bright.pixels[both] - tint.pixels[both]
        shift, siting_u = _siting(gap, bright.lean[both] - tint.lean[both])
        tint = replace(tint, pixels=tint.pixels + shift)
    tint = replace(tint, covariances=tint.covariances + siting_u**2 * np.eye(2))
    return _weighted(bright, tint), exposure


def _siting(gap: Array, lean: Array) -> tuple[Array, float]:
    """Return by how much colour must be moved to lie on luma, and how well that is known.

    What uneven light does to the luma is told apart by its dependence on the lean.
    """
    design = np.column_stack([np.ones(len(lean)), lean])
    # A ridge on the light's part, for clips in which the contrast never changes.
    ridge = np.diag([0.0, 1.0 / 900.0])
    fit = fit_linear(design, gap, rounds=5, least_sigma=0.02, ridge=0.01 * ridge)
    return fit.parameters[0], fit.sigma * float(np.sqrt(fit.cofactors[0, 0]))


def _weighted(bright: Sighting, tint: Sighting) -> Sighting:
    """Return both components' places weighted by their information, or the one there is."""
    by_light = np.linalg.inv(bright.covariances) * bright.found[:, None, None]
    by_tint = np.linalg.inv(tint.covariances) * tint.found[:, None, None]
    # A component that is sure of its place and disagrees has caught something else: the
    # clearer one is believed.
    gap = bright.pixels - tint.pixels
    either = np.linalg.inv(bright.covariances + tint.covariances + 0.1 * np.eye(2))
    apart = np.einsum("ni,nij,nj->n", gap, either, gap)
    split = bright.found & tint.found & (apart > 25.0)
    lighter = np.abs(bright.snr) >= np.abs(tint.snr)
    by_tint[split & lighter] = 0.0
    by_light[split & ~lighter] = 0.0
    total = by_light + by_tint + 1e-12 * np.eye(2)
    covariance = np.linalg.inv(total)
    place = np.einsum(
        "nij,nj->ni",
        covariance,
        np.einsum("nij,nj->ni", by_light, np.nan_to_num(bright.pixels))
        + np.einsum("nij,nj->ni", by_tint, np.nan_to_num(tint.pixels)),
    )
    # Each component's share in the place carries its lean.
    share = np.trace(covariance @ by_light, axis1=1, axis2=2) / 2.0
    return Sighting(
        pixels=place,
        covariances=np.asarray(covariance, float),
        snr=np.where(lighter, bright.snr, tint.snr),
        found=bright.found | tint.found,
        misfit=np.minimum(bright.misfit, tint.misfit),
        lean=share * bright.lean + (1.0 - share) * tint.lean,
        contrast=np.where(lighter, bright.contrast, tint.contrast),
    )


def _rows(chosen: list[tuple[Cutouts, int]]) -> Cutouts:
    """Return one row of each of many cutouts."""
    return Cutouts(
        np.stack([cutouts.patches[row] for cutouts, row in chosen]),
        np.stack([cutouts.corners[row] for cutouts, row in chosen]),
    )
