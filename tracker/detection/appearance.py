"""Where exactly a ball is, once its size, its motion and roughly its place are expected.

The ball's picture is a disc with a soft edge, drawn out along its path while the shutter was
open. Its place and contrast are fitted to the pixels by least squares, which for white noise
reaches the Cramér-Rao bound of that picture (S. M. Kay, Fundamentals of Statistical Signal
Processing: Estimation Theory, 1993, ch. 3 and 8).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.records import Cuttings

Array = NDArray[np.float64]
Fine = NDArray[np.float32]

EDGE_PX = 0.65
"""Softness of the disc's edge: lens, pixel area and encoder together, px (1 sd)."""

SHAPE_SHARE = 0.015
"""Standard uncertainty of a position, as a share of the ball's diameter, from its seam, its
felt and patterns of light that are not even across it. Common practice, no source."""

LEAST_CONTRAST = 8.0
"""Contrasts below this count as this in the lean: noise would make it boundless."""

LEAST_U_PX = 0.02
"""Standard uncertainty of any position from what no model here covers, px."""

ROUNDS = 4
"""Gauss-Newton steps at most; from a pixel away the third is below a hundredth of a pixel."""

SETTLED_PX = 2e-3
"""A step below this is a picture's last: the next would be a thousandth of it."""

SHARES = (0.0, 0.12, 0.3, 0.5, 0.75, 1.0)
"""Exposure shares that are tried."""

LEAST_SNR = 2.5
"""A contrast under this many standard deviations is not taken for a sighting."""


@dataclass(frozen=True)
class Expected:
    """Where and how the ball is expected, one row a frame.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
        Expected column and row.
    motion_px : ndarray, shape (N, 2)
        Path in the picture from one frame to the next.
    before_px, after_px : ndarray, shape (N, 2)
        Path from this frame to the earlier and later frames that the patch was held against.
    diameters_px : ndarray, shape (N,)
    """

    pixels: Array
    motion_px: Array
    before_px: Array
    after_px: Array
    diameters_px: Array

    def part(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> "Expected":
        """Return the chosen rows."""
        return Expected(
            self.pixels[rows],
            self.motion_px[rows],
            self.before_px[rows],
            self.after_px[rows],
            self.diameters_px[rows],
        )


@dataclass(frozen=True)
class Sighting:
    """Fitted positions, one row a frame.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
    covariances : ndarray, shape (N, 2, 2)
        px², from the noise of the pixels and the floors named in this module.
    snr : ndarray, shape (N,)
        Fitted contrast over its standard deviation; negative for a ball darker than what
        lies behind it.
    found : ndarray of bool, shape (N,)
    misfit : ndarray, shape (N,)
        Mean squared residual over the noise's variance.
    lean : ndarray, shape (N,)
        Diameter over contrast, px per luma step: by how much uneven light moves the place.
    """

    pixels: Array
    covariances: Array
    snr: Array
    found: NDArray[np.bool_]
    misfit: Array
    lean: Array


def measure(
    cuttings: Cuttings, expected: Expected, exposure: float | None = None
) -> tuple[Sighting, float]:
    """Fit the ball's picture to patches of change.

    Parameters
    ----------
    cuttings : Cuttings
        One patch a row.
    expected : Expected
        In the same component's pixels.
    exposure : float, optional
        Share of the frame interval during which the shutter was open; found from the
        pictures when left out.

    Returns
    -------
    sighting : Sighting
    exposure : float
        The share used.
    """
    patches, corners = cuttings.patches, cuttings.corners
    if len(patches) == 0:
        nothing = np.zeros(0)
        return (
            Sighting(
                np.zeros((0, 2)), np.zeros((0, 2, 2)), nothing, np.zeros(0, bool), nothing, nothing
            ),
            0.0 if exposure is None else exposure,
        )
    noise = _rim_noise(patches)
    if exposure is None:
        exposure = _find_exposure(patches, corners, noise, expected)
    return _fit(patches, corners, noise, expected, exposure), exposure


def _find_exposure(
    patches: NDArray[np.int16], corners: NDArray[np.int64], noise: Array, expected: Expected
) -> float:
    """Return the exposure share whose pictures leave the least residual.

    Only the clearest sightings vote. Where the ball moves by less than its own softness the
    share has no effect that matters, and the least one is returned.
    """
    first = _fit(patches, corners, noise, expected, 0.3)
    clear = np.flatnonzero(first.found)
    if len(clear) < 3:
        return 0.3
    clear = clear[np.argsort(-np.abs(first.snr[clear]), kind="stable")[:16]]
    few = replace(expected.part(clear), pixels=first.pixels[clear])

    def cost(at: int) -> float:
        fit = _fit(patches[clear], corners[clear], noise[clear], few, SHARES[at])
        return float(np.median(np.where(fit.found, fit.misfit, fit.misfit + 1e3)))

    # Downhill from the middle: long exposures take many pictures to draw.
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


def _fit(
    patches: NDArray[np.int16],
    corners: NDArray[np.int64],
    noise: Array,
    expected: Expected,
    exposure: float,
) -> Sighting:
    """Gauss-Newton on contrast, offset and place for all patches at once."""
    count, side = patches.shape[0], patches.shape[1]
    radius = expected.diameters_px / 2.0
    streak = expected.motion_px * exposure
    reach = float(np.max(radius + np.linalg.norm(streak, axis=1) / 2.0)) + 3.0 * EDGE_PX + 1.5
    half = int(min(np.ceil(reach), (side - 1) // 2))
    local = expected.pixels - corners
    start = np.clip(np.rint(local).astype(np.int64) - half, 0, side - 2 * half - 1)
    span = np.arange(2 * half + 1)
    at_rows = start[:, 1, None] + span
    at_columns = start[:, 0, None] + span
    data = patches[np.arange(count)[:, None, None], at_rows[:, :, None], at_columns[:, None, :]]
    data = data.reshape(count, -1) * np.float32(0.5)
    grid_x, grid_y = at_columns.astype(np.float32), at_rows.astype(np.float32)
    # Where a neighbouring frame's ball falls into the patch it leaves half its picture, negative.
    nearest = half + 0.5 * np.max(np.linalg.norm(streak, axis=1)) + np.max(radius) + 1.0
    ghosts = [
        shift
        for shift in (expected.before_px, expected.after_px)
        if np.min(np.max(np.abs(shift), axis=1)) < nearest
    ]
    place = local.copy()
    sigma = noise.copy()
    contrast, residue = np.empty(count), np.empty(count)
    inverse = np.empty((count, 4, 4))
    moving = np.arange(count)
    for step in range(ROUNDS + 1):
        grids = grid_x[moving], grid_y[moving]
        path, size = streak[moving], radius[moving]
        picture, by_x, by_y = _picture(*grids, place[moving], path, size)
        for shift in ghosts:
            there = place[moving] + shift[moving]
            ghost, ghost_x, ghost_y = _picture(*grids, there, path, size)
            for own, other in ((picture, ghost), (by_x, ghost_x), (by_y, ghost_y)):
                own -= other * np.float32(0.5)
        contrast[moving], residual = _contrast(picture, data[moving])
        bright = contrast[moving, None].astype(np.float32)
        design = np.stack([picture, np.ones_like(picture), bright * by_x, bright * by_y], axis=1)
        normal = (design @ design.transpose(0, 2, 1)).astype(float)
        normal += np.eye(4) * (1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-12)
        inverse[moving] = np.linalg.inv(normal)
        residue[moving] = np.sum(residual**2, axis=1)
        if step == ROUNDS:
            break
        pull = (design @ residual[:, :, None]).astype(float)
        move = (inverse[moving, 2:4] @ pull)[:, :, 0]
        length = np.linalg.norm(move, axis=1)
        place[moving] += move * np.minimum(1.0, 1.0 / np.maximum(length, 1e-9))[:, None]
        moving = moving[length > SETTLED_PX]
        if not len(moving):
            break
    freedom = max(1, data.shape[1] - 4)
    misfit = residue / freedom / sigma**2
    variance = sigma**2 * np.maximum(1.0, np.minimum(misfit, 25.0))
    covariance = inverse[:, 2:4, 2:4] * variance[:, None, None]
    snr = contrast / np.sqrt(inverse[:, 0, 0] * variance)
    floor = LEAST_U_PX**2 + (SHAPE_SHARE * expected.diameters_px) ** 2
    covariance = covariance + floor[:, None, None] * np.eye(2)
    drift = np.linalg.norm(place - local, axis=1)
    allowed = radius + np.linalg.norm(streak, axis=1) / 2.0 + 3.0
    inside = np.all((place > 0.5) & (place < side - 1.5), axis=1)
    found = (np.abs(snr) > LEAST_SNR) & inside & (drift < allowed) & np.isfinite(place).all(axis=1)
    lean = expected.diameters_px / np.copysign(
        np.maximum(np.abs(contrast), LEAST_CONTRAST), contrast
    )
    return Sighting(place + corners, covariance, snr, found, misfit, lean)


def _contrast(picture: Fine, data: Fine) -> tuple[Array, Fine]:
    """Return the contrast that fits best beside a free offset, and what is left, shape (N, P)."""
    flat = picture - picture.mean(axis=1, keepdims=True)
    level = data - data.mean(axis=1, keepdims=True)
    contrast = np.sum(flat * level, axis=1) / np.maximum(np.sum(flat * flat, axis=1), 1e-12)
    return contrast.astype(float), level - contrast[:, None] * flat


def _picture(
    grid_x: Fine, grid_y: Fine, place: Array, streak: Array, radius: Array
) -> tuple[Fine, Fine, Fine]:
    """Return the ball's picture of unit contrast and its derivatives by the place, shape (N, P).

    `grid_x` and `grid_y`, shape (N, side), are the columns and rows of each patch. Seven digits
    are enough: a pixel's own value has two or three.
    """
    longest = float(np.max(np.linalg.norm(streak, axis=1)))
    thin = float(max(np.min(radius), 0.8))
    count = int(np.clip(2 * np.ceil(longest / (1.5 * thin)) + 1, 1, 15))
    offsets = (np.arange(count) + 0.5) / count - 0.5
    shape = (len(grid_x), grid_y.shape[1], grid_x.shape[1])
    picture, by_x, by_y = (np.zeros(shape, np.float32) for _ in range(3))
    share, distance = np.empty(shape, np.float32), np.empty(shape, np.float32)
    steepness = np.float32(1.702 / EDGE_PX)
    reach = (radius * steepness).astype(np.float32)[:, None, None]
    for offset in offsets:
        middle = (place + offset * streak).astype(np.float32)
        dx = (grid_x - middle[:, :1])[:, None, :]
        dy = (grid_y - middle[:, 1:])[:, :, None]
        np.add(dx * dx, dy * dy + np.float32(1e-6), out=distance)
        np.sqrt(distance, out=distance)
        # The logistic curve, within 0.01 of the normal one at this scale and much cheaper.
        np.multiply(distance, steepness, out=share)
        share -= reach
        np.minimum(share, np.float32(60.0), out=share)  # nothing there, and no overflow
        np.exp(share, out=share)
        share += np.float32(1.0)
        np.reciprocal(share, out=share)
        picture += share
        # What is left of `distance` is the slope over the distance.
        np.divide(share - share * share, distance, out=distance)
        by_x += distance * dx
        by_y += distance * dy
    flat = (len(grid_x), -1)
    slope = steepness / count
    return (
        picture.reshape(flat) / np.float32(count),
        by_x.reshape(flat) * slope,
        by_y.reshape(flat) * slope,
    )


def _rim_noise(patches: NDArray[np.int16]) -> Array:
    """Return the robust standard deviation of half of each patch's rim."""
    rim = np.concatenate(
        [patches[:, :2].reshape(len(patches), -1), patches[:, -2:].reshape(len(patches), -1)],
        axis=1,
    )
    return np.maximum(1.4826 * np.median(np.abs(rim), axis=1) / 2.0, 0.6)
