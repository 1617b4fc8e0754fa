"""A ball's place from luma and colour together."""

import numpy as np
from numpy.typing import NDArray

from tracker.detection.appearance import Expected, Sighting, measure
from tracker.records import Candidates, Cuttings

Array = NDArray[np.float64]

SITING_PX = np.array([0.25, 0.5])
"""Where a half-size colour pixel lies in its two by two luma pixels: level with the left pair
or in the middle, as the encoder chose (ITU-T H.264, table E-1), so halfway between the two."""

SITING_U_PX = 0.25
"""Standard uncertainty of that."""

CLEAR = 6.0
"""Contrast, in standard deviations, from which a sighting helps to find the true siting."""


def sight(
    chosen: list[tuple[Candidates, int]], expected: Expected, exposure: float | None
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

    Returns
    -------
    sighting : Sighting
    exposure : float
    """
    light, exposure = measure(_rows([(c.luma, k) for c, k in chosen]), expected, exposure)
    tints = [(c.blueness, k) for c, k in chosen if c.blueness is not None]
    if len(tints) != len(chosen) or not chosen:
        return light, exposure
    half = Expected(
        (expected.pixels - SITING_PX) / 2.0,
        expected.motion_px / 2.0,
        expected.before_px / 2.0,
        expected.after_px / 2.0,
        expected.diameters_px / 2.0,
    )
    tint, _ = measure(_rows(tints), half, exposure)
    pixels, covariances = 2.0 * tint.pixels + SITING_PX, 4.0 * tint.covariances
    both = light.found & tint.found & (np.abs(light.snr) > CLEAR) & (np.abs(tint.snr) > CLEAR)
    siting_u = SITING_U_PX
    if np.sum(both) >= 5:
        shift, siting_u = _siting(light.pixels[both] - pixels[both], light.lean[both])
        pixels = pixels + shift
    covariances = covariances + siting_u**2 * np.eye(2)
    return _weighted(light, tint, pixels, covariances), exposure


def _siting(gap: Array, lean: Array) -> tuple[Array, float]:
    """Return by how much colour must be moved to lie on luma, and how well that is known.

    What uneven light does to the luma is told apart by its dependence on the lean.
    """
    design = np.column_stack([np.ones(len(lean)), lean])
    # A ridge on the light's part, for clips in which the contrast never changes.
    ridge = np.diag([0.0, 1.0 / 36.0])
    weight = np.ones(len(lean))
    for _ in range(5):
        weighted = design * weight[:, None]
        normal = weighted.T @ design + 0.01 * ridge
        answer = np.linalg.solve(normal, weighted.T @ gap)
        left = np.linalg.norm(gap - design @ answer, axis=1)
        scale = max(1.4826 * float(np.median(left)), 0.02)
        weight = 1.0 / (1.0 + (left / (2.0 * scale)) ** 2)
    u = scale * float(np.sqrt(np.linalg.inv(normal)[0, 0]))
    return answer[0], u


def _weighted(light: Sighting, tint: Sighting, pixels: Array, covariances: Array) -> Sighting:
    """Return both components' places weighted by their information, or the one there is."""
    by_light = np.linalg.inv(light.covariances) * light.found[:, None, None]
    by_tint = np.linalg.inv(covariances) * tint.found[:, None, None]
    # A component that is sure of its place and disagrees has caught something else: the
    # clearer one is believed.
    apart = np.einsum(
        "ni,nij,nj->n",
        light.pixels - pixels,
        np.linalg.inv(light.covariances + covariances + 0.1 * np.eye(2)),
        light.pixels - pixels,
    )
    split = light.found & tint.found & (apart > 25.0)
    lighter = np.abs(light.snr) >= np.abs(tint.snr)
    by_tint[split & lighter] = 0.0
    by_light[split & ~lighter] = 0.0
    found = light.found | tint.found
    total = by_light + by_tint + 1e-12 * np.eye(2)
    covariance = np.linalg.inv(total)
    place = np.einsum(
        "nij,nj->ni",
        covariance,
        np.einsum("nij,nj->ni", by_light, np.nan_to_num(light.pixels))
        + np.einsum("nij,nj->ni", by_tint, np.nan_to_num(pixels)),
    )
    strongest = np.where(np.abs(light.snr) >= np.abs(tint.snr), light.snr, tint.snr)
    misfit = np.minimum(light.misfit, tint.misfit)
    # Colour does not lean: the share of luma in the place carries its lean.
    share = np.trace(covariance @ by_light, axis1=1, axis2=2) / 2.0
    return Sighting(
        place, np.asarray(covariance, float), strongest, found, misfit, share * light.lean
    )


def _rows(chosen: list[tuple[Cuttings, int]]) -> Cuttings:
    """Return one row of each of many cuttings."""
    return Cuttings(
        np.stack([cuttings.patches[row] for cuttings, row in chosen]),
        np.stack([cuttings.corners[row] for cuttings, row in chosen]),
    )
