"""Where exactly a ball is, once its size, its motion and roughly its place are expected.

Place and contrast of the ball's picture (`tracker.detection.ball_image`) are fitted to the pixels
by least squares, which for white noise reaches the Cramér-Rao bound (S. M. Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, 1993, ch. 3 and 8). A ball is lit from one side,
so the disc's brightness may slope; where the light comes from is found by the fit of the flight
(`tracker.fitting.light`).
"""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import SIGMA_PER_MAD
from tracker.detection.ball_image import EDGE_PX, Fine, ball_images
from tracker.detection.positions import BallPositions, ExpectedBall
from tracker.records import Cutouts

Array = NDArray[np.float64]
Rows = NDArray[np.int64]

SHAPE_SHARE = 0.015
"""Standard uncertainty of a position from the ball's seam, felt and patterns of light, as a share
of its diameter. Common practice, no source."""

LEAST_U_PX = 0.02
"""Standard uncertainty of any position from what no model here covers, px (common practice, no
source)."""

LARGEST_LEAN = 0.1
"""Largest shift by a luma step of uneven light, radii. Where ball and background are equally bright
the linear law would have no bound; a slope does not move a ball off itself."""

STEEPER = 0.023
"""By how much the same light is drawn steeper the darker the background, as a logarithm, px per
luma step of contrast. A camera's luma goes with about the 0.45th power of light (ITU-R BT.709), so
at a rim that covers a pixel in part, light counts for more before a dark background. Found on discs
of 2 to 4.5 px whose light slopes evenly, coded by that standard: 0.010 to 0.040."""

STEEPEST = 3.0
"""Limit of that factor and of its inverse: beyond it the law was not tested."""

ROUNDS = 4
"""Gauss-Newton steps at most; from a pixel away the third is below a hundredth of a pixel."""

SETTLED_PX = 2e-3
"""A step below this is a picture's last, px: the next would be a thousandth of it."""

LONGEST_STEP_PX = 1.0
"""Limit of a step, px: the linear law holds over the soft edge only."""

LEAST_SNR = 2.5
"""A contrast below this many standard deviations is no detection (common practice, no source)."""

LARGEST_MISFIT = 25.0
"""Limit of the factor by which a misfit widens the variance: beyond it something else shows."""

LEAST_NOISE = 0.6
"""Smallest standard deviation of half a cutout's pixel, luma steps: rounding of three frames makes
0.35, an encoder adds to it."""

DRIFT_PX, INNER_PX = 3.0, (0.5, 1.5)
"""How far beyond the ball and its streak a place may move from where it is expected, and how far
inside the cutout it must stay at its first and last pixel, px (common practice, no source)."""

LEAST_EXCESS = 0.05
"""Least excess of a picture's misfit over noise alone that its purity counts: 1 is known no better
over some hundred pixels."""

MARGIN_PX = 1.5
"""Pixels beyond ball, streak and edge that are fitted too: they hold the background's level."""


def fit_patches(
    cutouts: Cutouts, expected: ExpectedBall, exposure: float, light: Array
) -> BallPositions:
    """Return the fitted places of the ball in all cutouts at once.

    Parameters
    ----------
    cutouts : Cutouts
        One patch a row; twice the frame less two others.
    expected : ExpectedBall
        In the same component's pixels.
    exposure : float
        Share of the frame interval during which the shutter is open.
    light : ndarray, shape (N, 2)
        Slope of the light, luma steps from the middle to the rim, in each picture.
    """
    fit = PictureFit(cutouts, expected, exposure)
    moving = np.arange(len(expected.pixels))
    for step in range(ROUNDS + 1):
        design, residual = fit.linearise(moving, light)
        if step == ROUNDS:
            break
        moving = fit.move(moving, design, residual)
        if not len(moving):
            break
    return fit.positions(light)


class PictureFit:
    """Gauss-Newton on contrast, offset and place; the state is where each picture is by now.

    Parameters
    ----------
    cutouts, expected, exposure
        As of `fit_patches`.
    largest : float
        How many times as wide as expected a ball is to fit into the part that is fitted.
    """

    def __init__(
        self, cutouts: Cutouts, expected: ExpectedBall, exposure: float, largest: float = 1.0
    ) -> None:
        patches = cutouts.patches
        count, side = patches.shape[0], patches.shape[1]
        self.corners, self.side, self.expected = cutouts.corners, side, expected
        self.radius = expected.diameters_px / 2.0
        self.streak = expected.motion_px * exposure
        half = self._half(largest)
        self.local = expected.pixels - cutouts.corners
        start = np.clip(np.rint(self.local).astype(np.int64) - half, 0, side - 2 * half - 1)
        span = np.arange(2 * half + 1)
        rows, columns = start[:, 1, None] + span, start[:, 0, None] + span
        data = patches[np.arange(count)[:, None, None], rows[:, :, None], columns[:, None, :]]
        self.data = data.reshape(count, -1) * np.float32(0.5)
        self.grid = columns.astype(np.float32), rows.astype(np.float32)
        self.ghosts = self._ghosts(half)
        self.texture = texture_behind(cutouts, expected, self.grid)
        self.texture[self._near_neighbours()] = 0.0
        self.place = self.local.copy()
        self.sigma = rim_noise(patches)
        self.steeper, self.lean = np.ones(count), np.empty(count)
        self.contrast, self.residue, self.shown = np.empty(count), np.empty(count), np.empty(count)
        self.inverse = np.empty((count, 4, 4))

    def _half(self, largest: float) -> int:
        """Return half the side of the part that is fitted, less its middle pixel."""
        longest = largest * self.radius + np.linalg.norm(self.streak, axis=1) / 2.0
        reach = float(np.max(longest)) + 3.0 * EDGE_PX + MARGIN_PX
        return int(min(np.ceil(reach), (self.side - 1) // 2))

    def _ghosts(self, half: int) -> list[Array]:
        """Return the shifts to a neighbouring frame's ball, where it falls into the patch.

        There it leaves half its picture, negative.
        """
        longest = 0.5 * np.max(np.linalg.norm(self.streak, axis=1))
        nearest = half + longest + np.max(self.radius) + 1.0
        return [
            shift
            for shift in (self.expected.before_px, self.expected.after_px)
            if np.min(np.max(np.abs(shift), axis=1)) < nearest
        ]

    def _near_neighbours(self) -> NDArray[np.bool_]:
        """Return whether the frames held against show the ball too, within reach of it, (N,)."""
        reach = 2.0 * (self.radius + 3.0 * EDGE_PX) + np.linalg.norm(self.streak, axis=1)
        shifts = (self.expected.before_px, self.expected.after_px)
        near = [np.max(np.abs(shift), axis=1) < reach for shift in shifts]
        either: NDArray[np.bool_] = near[0] | near[1]
        return either

    def _images(self, rows: Rows, slope: Array) -> list[Fine]:
        """Return what `ball_images` does, less half of what the frames held against show.

        All are drawn at once: small pictures take longer to call for than to draw.
        """
        count, times = len(rows), 1 + len(self.ghosts)
        own = self.place[rows]
        places = np.concatenate([own, *(own + shift[rows] for shift in self.ghosts)])
        every = np.tile(rows, times)
        grid = self.grid[0][every], self.grid[1][every]
        light = np.tile(slope, (times, 1))
        images = ball_images(grid, places, self.streak[every], self.radius[every], light)
        for image in images:
            for begin in range(count, times * count, count):
                ghost = image[begin : begin + count]
                ghost *= np.float32(0.5)
                image[:count] -= ghost
        return [image[:count] for image in images]

    def linearise(self, rows: Rows, light: Array) -> tuple[Fine, Fine]:
        """Return design, shape (M, 4, P), and residual, shape (M, P), of some pictures."""
        slope = self.steeper[rows, None] * light[rows]
        picture, by_x, by_y, across, down, *bent = self._images(rows, slope)
        slopes = np.stack([across, down], axis=2)
        shade = (slopes @ slope.astype(np.float32)[:, :, None])[:, :, 0]
        # The ball hides its own part of the background, whose unevenness is known.
        texture = self.texture[rows]
        data = self.data[rows] + picture * texture
        self.contrast[rows], residual = _contrast(picture, data - shade)
        bright = self.contrast[rows, None].astype(np.float32) - texture
        by_x, by_y = bright * by_x, bright * by_y
        for own, other in zip((by_x, by_y), bent, strict=False):
            own += other
        design = np.stack([picture, np.ones_like(picture), by_x, by_y], axis=1)
        normal = (design @ design.transpose(0, 2, 1)).astype(float)
        normal += np.eye(4) * (1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-12)
        self.inverse[rows] = np.linalg.inv(normal)
        self.residue[rows] = np.sum(residual**2, axis=1)
        # The whole picture counts: a ball as bright as its background shows by its shade.
        level = data - data.mean(axis=1, keepdims=True)
        drawn = level - residual
        size = np.sqrt(np.sum(drawn**2, axis=1) + 1e-12)
        self.shown[rows] = np.sum(level * drawn, axis=1) / size
        tilt = self.inverse[rows, 2:4] @ (design @ slopes).astype(float)
        self.lean[rows] = self.steeper[rows] * np.trace(tilt, axis1=1, axis2=2) / 2.0
        steeper = np.exp(STEEPER * self.contrast[rows] / self.expected.diameters_px[rows])
        self.steeper[rows] = np.clip(steeper, 1.0 / STEEPEST, STEEPEST)
        return design, residual

    def move(self, rows: Rows, design: Fine, residual: Fine) -> Rows:
        """Take one step; return the pictures that still move."""
        pull = (design @ residual[:, :, None]).astype(float)
        step = (self.inverse[rows, 2:4] @ pull)[:, :, 0]
        length = np.linalg.norm(step, axis=1)
        self.place[rows] += (
            step * np.minimum(1.0, LONGEST_STEP_PX / np.maximum(length, 1e-9))[:, None]
        )
        still: Rows = rows[length > SETTLED_PX]
        return still

    def positions(self, light: Array) -> BallPositions:
        """Return the places that were reached, with their covariances."""
        radius, place = self.radius, self.place
        freedom = max(1, self.data.shape[1] - 4)
        misfit = self.residue / freedom / self.sigma**2
        variance = self.sigma**2 * np.maximum(1.0, np.minimum(misfit, LARGEST_MISFIT))
        covariance = self.inverse[:, 2:4, 2:4] * variance[:, None, None]
        floor = LEAST_U_PX**2 + (SHAPE_SHARE * self.expected.diameters_px) ** 2
        drift = np.linalg.norm(place - self.local, axis=1)
        allowed = radius + np.linalg.norm(self.streak, axis=1) / 2.0 + DRIFT_PX
        inside = np.all((place > INNER_PX[0]) & (place < self.side - INNER_PX[1]), axis=1)
        lean = np.clip(self.lean, -LARGEST_LEAN * radius, LARGEST_LEAN * radius)
        snr = np.copysign(self.shown / np.sqrt(variance), self.contrast)
        found = (
            (self.shown > LEAST_SNR * np.sqrt(variance))
            & inside
            & (drift < allowed)
            & np.isfinite(place).all(axis=1)
        )
        other = freedom * np.maximum(misfit - 1.0, LEAST_EXCESS) * self.sigma**2
        return BallPositions(
            pixels=place + lean[:, None] * light + self.corners,
            covariances=covariance + floor[:, None, None] * np.eye(2),
            snr=snr,
            found=found,
            misfit=misfit,
            lean=lean,
            contrast=self.contrast,
            contrasts=np.where(found, self.contrast, np.nan)[:, None],
            purity=self.shown**2 / other,
            freedom=freedom,
        )


def texture_behind(cutouts: Cutouts, expected: ExpectedBall, grid: tuple[Fine, Fine]) -> Fine:
    """Return how much brighter each pixel's background is than that around the ball, (N, P).

    Zero where it is not known.

    Parameters
    ----------
    cutouts : Cutouts
    expected : ExpectedBall
    grid : two ndarrays, shape (N, side)
        Columns and rows that are fitted, in each cutout.
    """
    columns, rows = (each.astype(np.int64) for each in grid)
    count, side = columns.shape
    if cutouts.behind is None:
        return np.zeros((count, side * side), np.float32)
    wide = cutouts.behind.shape[1]
    edge = (cutouts.patches.shape[1] - wide) // 2
    here = [np.clip(each - edge, 0, wide - 1) for each in (rows, columns)]
    known = [(each >= edge) & (each < edge + wide) for each in (rows, columns)]
    behind = cutouts.behind[np.arange(count)[:, None, None], here[0][:, :, None], here[1][:, None]]
    place = expected.pixels - cutouts.corners
    breadth = np.hypot(expected.diameters_px / 2.0, EDGE_PX)[:, None]
    along, down = (
        np.exp(-0.5 * ((each - place[:, axis, None]) / breadth) ** 2) * seen
        for axis, each, seen in ((0, columns, known[1]), (1, rows, known[0]))
    )
    weight = down[:, :, None] * along[:, None, :]
    whole = np.maximum(weight.sum(axis=(1, 2), keepdims=True), 1e-9)
    usual = np.sum(weight * behind, axis=(1, 2), keepdims=True) / whole
    found = (behind - usual) * (known[0][:, :, None] & known[1][:, None, :])
    flat: Fine = found.reshape(count, -1).astype(np.float32)
    return flat


def rim_noise(patches: NDArray[np.int16]) -> Array:
    """Return the robust standard deviation of half of each patch's rim, luma steps, shape (N,).

    About its own level, which is fitted: lamps that flicker change that from frame to frame.
    """
    rim = np.concatenate(
        [patches[:, :2].reshape(len(patches), -1), patches[:, -2:].reshape(len(patches), -1)],
        axis=1,
    )
    off = rim - np.median(rim, axis=1, keepdims=True)
    noise: Array = SIGMA_PER_MAD * np.median(np.abs(off), axis=1) / 2.0
    return np.maximum(noise, LEAST_NOISE)


def _contrast(picture: Fine, data: Fine) -> tuple[Array, Fine]:
    """Return the best contrast beside a free offset, and the residual, shape (N, P)."""
    flat = picture - picture.mean(axis=1, keepdims=True)
    level = data - data.mean(axis=1, keepdims=True)
    contrast = np.sum(flat * level, axis=1) / np.maximum(np.sum(flat * flat, axis=1), 1e-12)
    return contrast.astype(float), level - contrast[:, None] * flat
