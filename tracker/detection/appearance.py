"""Where exactly a ball is, once its size, its motion and roughly its place are expected.

The ball's picture is a disc with a soft edge, drawn out along its path while the shutter was
open. Its place and contrast are fitted to the pixels by least squares, which for white noise
reaches the Cramér-Rao bound of that picture (S. M. Kay, Fundamentals of Statistical Signal
Processing: Estimation Theory, 1993, ch. 3 and 8). A ball is lit from one side, so the disc's
brightness may slope; the slope is one for all pictures of a shot, and found by the fit of its
flight (`tracker.fitting.model`).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import SIGMA_PER_MAD
from tracker.records import Cutouts

Array = NDArray[np.float64]
Fine = NDArray[np.float32]

EDGE_PX = 0.65
"""Softness of the disc's edge: lens, pixel area and encoder together, px (1 sd)."""

SHAPE_SHARE = 0.015
"""Standard uncertainty of a position, as a share of the ball's diameter, from its seam, its
felt and patterns of light that are not even across it. Common practice, no source."""

LARGEST_LEAN = 0.1
"""Radii by which a luma step of uneven light moves a place at most. In front of what is as
bright as the ball the linear law would have no bound; a slope does not move a ball off itself."""

MOST_UNEVEN = 60.0
"""Light that is more uneven than this, luma steps, is not drawn: a fit may stray."""

STEEPER = 0.023
"""By how much the same light is drawn steeper the darker what lies behind the ball, as a logarithm,
px per luma step of contrast. A camera's luma goes with about the 0.45th power of light (ITU-R
BT.709), so at a rim that covers a pixel in part, light counts for more in front of dark. Found on
discs of 2 to 4.5 px whose light slopes evenly, coded by that standard: 0.010 to 0.040."""

STEEPEST = 3.0
"""The most that this makes of it, or the least that it leaves as one over it."""

LEAST_RADIUS_PX = 0.8
"""The rim of a smaller ball is taken to lie this far from its middle: the blur's, not its own."""

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
        Where the ball would be were it lit evenly: off its middle by `lean` times the light.
    covariances : ndarray, shape (N, 2, 2)
        px², from the noise of the pixels and the floors named in this module.
    snr : ndarray, shape (N,)
        How far the fitted picture stands out, in standard deviations of the noise; negative for a
        ball darker than what lies behind it.
    found : ndarray of bool, shape (N,)
    misfit : ndarray, shape (N,)
        Mean squared residual over the noise's variance.
    lean : ndarray, shape (N,)
        By how much uneven light moves the place, px per luma step from the middle to the rim.
    contrast : ndarray, shape (N,)
        Of the ball's middle against what lies behind it, luma steps.
    """

    pixels: Array
    covariances: Array
    snr: Array
    found: NDArray[np.bool_]
    misfit: Array
    lean: Array
    contrast: Array


def measure(
    cutouts: Cutouts,
    expected: Expected,
    exposure: float | None = None,
    light: Array | None = None,
) -> tuple[Sighting, float]:
    """Fit the ball's picture to patches of change.

    Parameters
    ----------
    cutouts : Cutouts
        One patch a row.
    expected : Expected
        In the same component's pixels.
    exposure : float, optional
        Share of the frame interval during which the shutter was open; found from the
        pictures when left out.
    light : ndarray, shape (2,), optional
        By how many luma steps the ball is brighter at its rim than in its middle, towards greater
        columns and rows; even light when left out.

    Returns
    -------
    sighting : Sighting
    exposure : float
        The share used.
    """
    patches, corners = cutouts.patches, cutouts.corners
    if len(patches) == 0:
        nothing = np.zeros(0)
        return (
            Sighting(
                np.zeros((0, 2)),
                np.zeros((0, 2, 2)),
                nothing,
                np.zeros(0, bool),
                nothing,
                nothing,
                nothing,
            ),
            0.0 if exposure is None else exposure,
        )
    noise = _rim_noise(patches)
    if exposure is None:
        exposure = _find_exposure(patches, corners, noise, expected)
    light = np.zeros(2) if light is None else np.clip(light, -MOST_UNEVEN, MOST_UNEVEN)
    return _fit(patches, corners, noise, expected, exposure, light), exposure


def _find_exposure(
    patches: NDArray[np.int16], corners: NDArray[np.int64], noise: Array, expected: Expected
) -> float:
    """Return the exposure share whose pictures leave the least residual.

    Only the clearest sightings vote. Where the ball moves by less than its own softness the
    share has no effect that matters, and the least one is returned.
    """
    even = np.zeros(2)
    first = _fit(patches, corners, noise, expected, 0.3, even)
    clear = np.flatnonzero(first.found)
    if len(clear) < 3:
        return 0.3
    clear = clear[np.argsort(-np.abs(first.snr[clear]), kind="stable")[:16]]
    few = replace(expected.part(clear), pixels=first.pixels[clear])

    def cost(at: int) -> float:
        fit = _fit(patches[clear], corners[clear], noise[clear], few, SHARES[at], even)
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
    light: Array,
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
    steeper = np.ones(count)
    sigma = noise.copy()
    contrast, residue, shown = np.empty(count), np.empty(count), np.empty(count)
    inverse, lean = np.empty((count, 4, 4)), np.empty(count)
    moving = np.arange(count)
    for step in range(ROUNDS + 1):
        grids = grid_x[moving], grid_y[moving]
        path, size = streak[moving], radius[moving]
        slope = steeper[moving, None] * light
        images = _images(*grids, place[moving], path, size, slope)
        for shift in ghosts:
            there = place[moving] + shift[moving]
            for own, other in zip(images, _images(*grids, there, path, size, slope), strict=True):
                own -= other * np.float32(0.5)
        picture, by_x, by_y, across, down, *bent = images
        slopes = np.stack([across, down], axis=2)
        shade = (slopes @ slope.astype(np.float32)[:, :, None])[:, :, 0]
        contrast[moving], residual = _contrast(picture, data[moving] - shade)
        bright = contrast[moving, None].astype(np.float32)
        by_x, by_y = bright * by_x, bright * by_y
        for own, other in zip((by_x, by_y), bent, strict=False):
            own += other
        design = np.stack([picture, np.ones_like(picture), by_x, by_y], axis=1)
        normal = (design @ design.transpose(0, 2, 1)).astype(float)
        normal += np.eye(4) * (1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-12)
        inverse[moving] = np.linalg.inv(normal)
        residue[moving] = np.sum(residual**2, axis=1)
        # The whole picture counts: a ball as bright as what lies behind it shows by its shade.
        level = data[moving] - data[moving].mean(axis=1, keepdims=True)
        drawn = level - residual
        shown[moving] = np.sum(level * drawn, axis=1) / np.sqrt(np.sum(drawn**2, axis=1) + 1e-12)
        tilt = inverse[moving, 2:4] @ (design @ slopes).astype(float)
        lean[moving] = steeper[moving] * np.trace(tilt, axis1=1, axis2=2) / 2.0
        steeper[moving] = np.clip(
            np.exp(STEEPER * contrast[moving] / expected.diameters_px[moving]),
            1.0 / STEEPEST,
            STEEPEST,
        )
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
    snr = np.copysign(shown / np.sqrt(variance), contrast)
    floor = LEAST_U_PX**2 + (SHAPE_SHARE * expected.diameters_px) ** 2
    covariance = covariance + floor[:, None, None] * np.eye(2)
    drift = np.linalg.norm(place - local, axis=1)
    allowed = radius + np.linalg.norm(streak, axis=1) / 2.0 + 3.0
    inside = np.all((place > 0.5) & (place < side - 1.5), axis=1)
    found = (
        (shown > LEAST_SNR * np.sqrt(variance))
        & inside
        & (drift < allowed)
        & np.isfinite(place).all(axis=1)
    )
    lean = np.clip(lean, -LARGEST_LEAN * radius, LARGEST_LEAN * radius)
    bright_part = place + lean[:, None] * light + corners
    return Sighting(bright_part, covariance, snr, found, misfit, lean, contrast)


def _contrast(picture: Fine, data: Fine) -> tuple[Array, Fine]:
    """Return the contrast that fits best beside a free offset, and what is left, shape (N, P)."""
    flat = picture - picture.mean(axis=1, keepdims=True)
    level = data - data.mean(axis=1, keepdims=True)
    contrast = np.sum(flat * level, axis=1) / np.maximum(np.sum(flat * flat, axis=1), 1e-12)
    return contrast.astype(float), level - contrast[:, None] * flat


def _images(
    grid_x: Fine, grid_y: Fine, place: Array, streak: Array, radius: Array, light: Array
) -> list[Fine]:
    """Return the ball's picture of unit contrast and what goes with it, each of shape (N, P).

    Its derivatives by column and row of the place; the pictures of a slope of one step from the
    middle to the rim, along columns and along rows; and, where the light is uneven, by how much
    that adds to the two derivatives. `grid_x` and `grid_y`, shape (N, side), are the columns and
    rows of each patch. Seven digits are enough: a pixel's own value has two or three.
    """
    longest = float(np.max(np.linalg.norm(streak, axis=1)))
    thin = float(max(np.min(radius), 0.8))
    count = int(np.clip(2 * np.ceil(longest / (1.5 * thin)) + 1, 1, 15))
    offsets = (np.arange(count) + 0.5) / count - 0.5
    shape = (len(grid_x), grid_y.shape[1], grid_x.shape[1])
    uneven = bool(np.any(light != 0.0))
    along, upright = light.astype(np.float32).T[:, :, None, None]
    found = [np.zeros(shape, np.float32) for _ in range(7 if uneven else 5)]
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
        found[0] += share
        found[3] += share * dx
        found[4] += share * dy
        # What is left of `distance` is the slope over the distance.
        np.divide(share - share * share, distance, out=distance)
        found[1] += distance * dx
        found[2] += distance * dy
        if uneven:
            distance *= along * dx + upright * dy
            found[5] += distance * dx
            found[6] += distance * dy
    for image in found[1:3] + found[5:]:
        image *= steepness
    per_radius = (1.0 / np.maximum(radius, LEAST_RADIUS_PX)).astype(np.float32)[:, None, None]
    for part, image in zip((along, upright), found[5:], strict=False):
        image -= part * found[0]
    for image in found[3:]:
        image *= per_radius
    return [image.reshape(len(grid_x), -1) / np.float32(count) for image in found]


def _rim_noise(patches: NDArray[np.int16]) -> Array:
    """Return the robust standard deviation of half of each patch's rim."""
    rim = np.concatenate(
        [patches[:, :2].reshape(len(patches), -1), patches[:, -2:].reshape(len(patches), -1)],
        axis=1,
    )
    return np.maximum(SIGMA_PER_MAD * np.median(np.abs(rim), axis=1) / 2.0, 0.6)
