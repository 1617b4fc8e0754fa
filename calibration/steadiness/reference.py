"""Following the still background from a reference frame through the frames of a clip."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import sigma_of_radii, tukey_weights
from calibration.camera import Camera
from calibration.steadiness.averages import Averages
from calibration.steadiness.corners import FEWEST_POINTS, WINDOW_PX, check_size, enough_corners
from calibration.steadiness.flow import evenly_lit, explained, followed, reduced, whole_shift
from calibration.steadiness.glance import Glance
from calibration.steadiness.motion import (
    SHEAR,
    SHIFT,
    SIZE,
    TURN,
    ZOOM,
    Motion,
    background,
    determines_turn,
    moved_pixels,
    prior_information,
    slopes,
    still,
    turned_by,
)
from calibration.steadiness.refining import Sight, refined_camera
from calibration.steadiness.rolling import SHEAR_U_RAD, UNKNOWN, RecentMotion, Rolling
from calibration.steadiness.scatter import NOISE_FLOOR_PX, WILDEST_PX, PointScatter
from calibration.steadiness.standing import may_stand
from calibration.timebase import row_fraction

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]
_Match = tuple[NDArray[np.bool_], Array, Array, Array, float]

WORK_WIDTH = 960
"""Longer side of the working picture, px. Chosen for time: 2 ms a frame."""

STILL_PX, STILL_SHARE, CROWD_SHARE = 0.12, 0.3, 0.75
"""Points nearer to their old places than the first, in working px, stand still. Where the second
share of all points stands still and less than the third agrees with the motion, clouds move and
the camera does not."""

TUKEY = 4.685
"""Cut of the biweight, standard deviations: 95 % efficiency for normal scatter (P. J. Holland and
R. E. Welsch, Communications in Statistics A6, 813, 1977)."""

ROUNDS = 8
"""Most steps of the robust fit."""

SETTLED = 0.1
"""A step of the turn below this share of the least scatter of a point ends the fit."""

SHARED_PX = 0.015
"""Error of following that all points may share (interpolation, coding), working px."""

CODED_PX = 0.03
"""The same where the picture moves, working px: an encoder predicts a moving background from the
frame before in steps of a quarter of a pixel or more. From drawn clips."""

LEAST_ZOOM = 0.004
"""Least logarithm of the focal length's ratio of a camera that is zoomed: a lens that looks for its
focus changes it by half of that (common practice, no source)."""

AMPLITUDE_MEMORY = 0.99
"""Share of the turns' amplitude that is kept from frame to frame."""

AGREEING, FEWEST_SHARE = 0.25, 0.3
"""Weight above which a point agrees with the motion, and the least share of points that must."""


class SteadyReference:
    """Follows the still background from a reference frame through the frames of a clip.

    Corners spread over the frame are followed from the reference frame itself (Lucas and Kanade
    1981; Bouguet 2001), so nothing drifts. One motion of the camera is fitted to all of them with
    Tukey's biweight: its turn, how the turn grows while the rows are read, its shift and its zoom,
    the last three within priors. People and leaves are outliers, and each point
    is weighted by the standard deviation that it has shown so far.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
        The reference frame.
    camera : Camera
        As calibrated on the reference frame.
    rotation_deg : int
        Quarter turns counter-clockwise that bring the stored picture to the shown one.
    amplitude_rad : float
        Amplitude of the camera's turns, where one is known beforehand.

    Raises
    ------
    InputError
        If the frame has another size than the camera's, or too few points that can be followed.
    """

    def __init__(
        self, luma: Luma, camera: Camera, rotation_deg: int = 0, amplitude_rad: float = 0.0
    ) -> None:
        check_size(luma, camera.size_px)
        self.camera = camera
        self._rotation_deg = rotation_deg
        self._shrink = min(1.0, WORK_WIDTH / max(luma.shape))
        small = self._small(luma)
        self._points = enough_corners(small)
        self._reference = small
        pixels = (self._points + 0.5) / self._shrink - 0.5
        seen = background(camera, pixels)
        usable = np.all(np.isfinite(seen), axis=1)
        self._points, self._seen, self._pixels = self._points[usable], seen[usable], pixels[usable]
        self._glance = Glance(luma, self._pixels, round(WINDOW_PX / self._shrink))
        self.averages = Averages(self._of_mean, self._shrink)
        self._evenly_lit = evenly_lit(small)
        self._scatter = PointScatter(len(self._points), self._shrink)
        self._moves = self._zooms = False
        self._last = np.zeros(SIZE)
        self._amplitude_rad = amplitude_rad
        self._rolling, self._kept_share, self._recent = UNKNOWN, 0.0, RecentMotion()
        self._sight: Sight | None = None
        self._found = np.ones(len(self._points), np.bool_)
        self._common_px = self._weighed_px = 0.0
        self._frame: int | None = None

    def straighten(self, rolling: Rolling, share: float, amplitude_rad: float = 0.0) -> None:
        """Take out that the camera moved while the reference frame was read.

        From then on the turn within each frame is expected to follow from those before it.

        Parameters
        ----------
        rolling : Rolling
        share : float
            How far down the readout the row lies, -0.5 to 0.5, whose place is kept.
        amplitude_rad : float
            Amplitude of the camera's turns, where more is known of it.
        """
        self._rolling, self._kept_share = rolling, share
        self._seen = self._points_of(self.camera)
        self._last[TURN] -= share * rolling.shear_rad
        self._last[SHEAR] += rolling.shear_rad
        self._last[SHIFT] -= share * rolling.growth_m
        self._amplitude_rad = max(self._amplitude_rad, amplitude_rad)

    def sight(self, luma: Luma, frame: int) -> Sight | None:
        """Return where a frame shows the points, None where they cannot be followed."""
        return None if self.measured(luma, frame).lost else self._sight

    def refine(self, sights: Sequence[Sight]) -> None:
        """Take the camera that explains the motion in some frames best.

        Parameters
        ----------
        sights : sequence of Sight
            Of a straightened reference of the same frame.
        """
        self.take(refined_camera(self.camera, self._points_of, sights))

    def take(self, camera: Camera) -> None:
        """Take another camera of the reference frame."""
        self.camera, self._seen = camera, self._points_of(camera)

    def _points_of(self, camera: Camera) -> Array:
        """Return the followed points in the axes of a camera, shape (N, 3)."""
        seen = background(camera, self._pixels)
        behind = (self._share(self._pixels) - self._kept_share)[:, None]
        seen = seen - behind * np.cross(self._rolling.shear_rad, seen)
        found: Array = seen + behind * self._rolling.growth_m
        return found

    def stands(self, luma: Luma) -> bool:
        """Return whether the camera plainly stands as in the reference, without a fit.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        """
        stands = self._glance.stands(luma)
        if self.averages.begun:
            # A glance at noise sees no motion either.
            self.averages.add(self._small(luma))
            return stands and self.averages.stands() is not False
        return stands

    def motion(self, luma: Luma, frame: int | None = None) -> Motion:
        """Return the camera's motion from the reference frame, none where it may be chance.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        frame : int, optional
            See `measured`.
        """
        small = self._small(luma)
        motion = self._followed(small, frame)
        if not self._moves:
            motion = self.averages.checked(motion, self._weighed_px, small, self._explains)
            self._last = motion.parameters
            self._zooms = self._zooms and motion.significant
        if not motion.lost and np.any(motion.parameters):
            if may_stand(motion, self._moves):
                motion = still(motion.shift_px, motion.agreement)
            else:
                self._moves = True
                coded = (CODED_PX / self._shrink / self.camera.focal_px) ** 2
                motion.covariance[TURN, TURN] += coded * np.eye(3)
        self._learn(motion)
        return motion

    def measured(self, luma: Luma, frame: int | None = None) -> Motion:
        """Return the motion as it is measured, however small.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        frame : int, optional
            Number of the frame; with those before it, it shows how fast the camera moves.
        """
        motion = self._followed(self._small(luma), frame)
        self._learn(motion)
        return motion

    def _learn(self, motion: Motion) -> None:
        """Learn how far each point lies off a motion that was accepted."""
        sight = self._sight
        if motion.lost or sight is None:
            return
        growth = sight.growth_m if motion.significant else np.zeros(3)
        seen = self._seen - sight.share[:, None] * growth
        places = moved_pixels(self.camera, motion.parameters, seen, sight.share)
        self._scatter.learn(sight.pixels - places, self._found, self._common_px)

    def _followed(self, small: Luma, frame: int | None) -> Motion:
        """Return the motion that is fitted to the points of a frame of working size."""
        self._frame = frame
        match = self._match(small, self._last)
        if match is None:
            # A jump: start from the shift of the whole picture.
            shift = whole_shift(self._reference, small) / self._shrink
            match = self._match(small, turned_by(shift, self.camera.focal_px))
        if match is None and not self._zooms:
            match = self._zoomed(small)
        if match is None:
            return self._lost()
        found, fit, weights, covariance, standing = match
        agreeing = self._agreeing(weights, found)
        agreement = float(np.mean(agreeing))
        gone = (self._places(fit, self._pixels) - self._pixels)[agreeing]
        shift = float(np.sqrt(np.mean(np.sum(gone**2, axis=1))))
        if agreement < CROWD_SHARE and standing >= STILL_SHARE:
            self._last = np.zeros(SIZE)
            return still(shift, standing)
        self._last = fit
        if frame is not None:
            self._recent.add(frame, fit)
        size = float(np.linalg.norm(fit[TURN][:2]))
        self._amplitude_rad = max(size, AMPLITUDE_MEMORY * self._amplitude_rad)
        return Motion(fit, covariance, True, shift, agreement)

    def _explains(self, small: Luma, motion: Motion) -> bool:
        places = (self._places(motion.parameters, self._pixels) + 0.5) * self._shrink - 0.5
        return explained(self._reference, small, self._points, places)

    def _of_mean(self, mean: Luma) -> "SteadyReference":
        """Return what follows the background from a mean of frames of working size."""
        size_px = (mean.shape[1], mean.shape[0])
        return SteadyReference(mean, self.camera.resized(size_px), self._rotation_deg)

    def _small(self, luma: Luma) -> Luma:
        return reduced(luma, self._shrink)

    def _match(self, small: Luma, guess: Array) -> _Match | None:
        """Follow and fit from a guess of the motion; None where too few points agree.

        Returns which points were found, the motion, their weights, its covariance, and the share
        of points that have not moved at all.
        """
        found, pixels = self._follow(small, guess)
        if np.sum(found) < FEWEST_POINTS:
            return None
        gone = np.linalg.norm(pixels - self._pixels, axis=1)
        standing = float(np.mean(found & (gone * self._shrink < STILL_PX)))
        fit, weights, covariance = self._fit(pixels, found, guess)
        self._found = found
        agreeing = self._agreeing(weights, found)
        if np.sum(agreeing) < FEWEST_POINTS or np.mean(agreeing) < FEWEST_SHARE:
            return None
        return found, fit, weights, covariance, standing

    def _zoomed(self, small: Luma) -> _Match | None:
        """Follow and fit as `_match` does of a camera that is being zoomed, None of another."""
        self._zooms = True
        match = self._match(small, self._last)
        agreeing = 0.0 if match is None else np.mean(self._agreeing(match[2], match[0]))
        zoom = 0.0 if match is None else abs(match[1][ZOOM])
        self._zooms = bool(agreeing >= CROWD_SHARE and zoom > LEAST_ZOOM)
        return match if self._zooms else None

    def _agreeing(self, weights: Array, found: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return which points show a motion and agree with the one fitted."""
        agreeing: NDArray[np.bool_] = (weights > AGREEING) & found & self._scatter.calm
        return agreeing

    def _follow(self, small: Luma, guess: Array) -> tuple[NDArray[np.bool_], Array]:
        """Return which points were found again, and where, in pixels of the whole frame."""
        start = (self._places(guess, self._pixels) + 0.5) * self._shrink - 0.5
        found, places = followed(self._evenly_lit, evenly_lit(small), self._points, start)
        return found, (places + 0.5) / self._shrink - 0.5

    def _share(self, pixels: Array) -> Array:
        """Return how far down the readout pixels are read, -0.5 to 0.5, shape (N,)."""
        share = row_fraction(pixels, self.camera.size_px, self._rotation_deg)
        return np.clip(np.nan_to_num(share), -0.5, 0.5)

    def _places(self, motion: Array, rows_of: Array) -> Array:
        """Return where the points lie after a motion, if they are read in the rows of pixels."""
        return moved_pixels(self.camera, motion, self._seen, self._share(rows_of))

    def _fit(
        self, pixels: Array, found: NDArray[np.bool_], guess: Array
    ) -> tuple[Array, Array, Array]:
        """Fit one motion robustly; return it, each point's weight and its covariance.

        The slope at rest serves for all motions: they are small, and the steps repeat.
        """
        floor = NOISE_FLOOR_PX / self._shrink
        fit = self._first(pixels, found, guess)
        share = self._share(pixels)
        slope = slopes(self.camera, self._seen, share)
        own, calm = self._scatter.own_px, found & self._scatter.calm
        calm = calm if np.sum(calm) >= FEWEST_POINTS else found
        for _ in range(ROUNDS):
            mean, tight, growth = self._within(fit)
            seen = self._seen - share[:, None] * growth
            residual = pixels - moved_pixels(self.camera, fit, seen, share)
            size = np.hypot(residual[:, 0], residual[:, 1])
            scale = own * max(sigma_of_radii((size / own)[calm]), 1.0)
            weights = np.where(found, tukey_weights(size / scale, TUKEY), 0.0)
            amplitude = max(self._amplitude_rad, float(np.linalg.norm(fit[TURN][:2])))
            prior = np.maximum(prior_information(amplitude, self._zooms), tight)
            heavy = weights / scale**2
            pull = np.einsum("n,nij,ni->j", heavy, slope, residual) - prior * (fit - mean)
            normal = np.einsum("n,nij,nik->jk", heavy, slope, slope)
            if not determines_turn(normal):
                # The steps have left every point behind.
                return guess, np.zeros(len(found)), np.zeros((SIZE, SIZE))
            step = np.linalg.solve(normal + np.diag(prior + 1e-9 * normal.diagonal()), pull)
            fit = fit + step
            self._sight = Sight(pixels, share, heavy, fit, mean, prior, growth)
            if np.abs(step[TURN]).max() * self.camera.focal_px < SETTLED * floor:
                break
        inverse = np.linalg.inv(normal + np.diag(prior + 1e-9 * normal.diagonal()))
        spread = np.einsum("n,nij,nik->jk", (heavy * scale) ** 2, slope, slope) + np.diag(prior)
        covariance = inverse @ spread @ inverse
        shared = (SHARED_PX / self._shrink / self.camera.focal_px) ** 2
        covariance[TURN, TURN] += shared * np.eye(3)
        self._common_px = sigma_of_radii(size[calm])
        self._weighed_px = float(np.sqrt(0.5 * heavy @ size**2 / max(heavy.sum(), 1e-12)))
        if self._common_px * self._shrink > WILDEST_PX:
            weights = np.zeros(len(found))
        return fit, weights, covariance

    def _within(self, fit: Array) -> tuple[Array, Array, Array]:
        """Return what the frames before predict of the motion while this frame is read.

        The expected motion, its information, both shape (10,), and the growth of the shift, m.
        """
        mean, information, growth = np.zeros(SIZE), np.zeros(SIZE), np.zeros(3)
        if self._frame is None or self._rolling.readout == 0.0:
            return mean, information, growth
        rate = self._recent.rate(self._frame, fit)
        if rate is None:
            return mean, information, growth
        mean[SHEAR] = self._rolling.readout * rate[:3]
        information[SHEAR] = 1.0 / (SHEAR_U_RAD**2 + (self._rolling.u * rate[:3]) ** 2)
        return mean, information, self._rolling.readout * rate[3:]

    def _first(self, pixels: Array, found: NDArray[np.bool_], guess: Array) -> Array:
        """Return the better of the guess and the turn of the median shift."""
        missed = (pixels - self._places(guess, pixels))[found]
        cost = float(np.median(np.hypot(missed[:, 0], missed[:, 1])))
        if cost * self._shrink < WILDEST_PX:
            return guess
        other = turned_by(np.median((pixels - self._pixels)[found], axis=0), self.camera.focal_px)
        missed = (pixels - self._places(other, pixels))[found]
        return other if np.median(np.hypot(missed[:, 0], missed[:, 1])) < cost else guess

    def _lost(self) -> Motion:
        """Return the last known motion, known to ten pixels; none where there never was one."""
        if not self._moves:
            return replace(still(float("nan"), 0.0), lost=True)
        spread = np.zeros((SIZE, SIZE))
        spread[TURN, TURN] = (10.0 / self.camera.focal_px) ** 2 * np.eye(3)
        return Motion(self._last.copy(), spread, True, float("nan"), 0.0, lost=True)
