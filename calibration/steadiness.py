"""Rotation of the camera since a reference frame, from the still background."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import sigma_of_radii, tukey_weights
from calibration.camera import Camera, distort, rotation_from_vector
from calibration.errors import InputError

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]

WORK_WIDTH = 960
"""Longer side of the working picture, px. Chosen for time: 2 ms a frame."""

CELLS = (12, 8)
"""Cells across and down; one point is followed in each."""

FEWEST_POINTS = 12
"""Points below which no turn is fitted: four for each of its three parameters."""

WINDOW_PX, LEVELS = 11, 2
"""Side of the window of the optical flow, working px, and its pyramid levels above the first."""

BLOCK = 7
"""Side of the window over which a corner's strength is summed, working px."""

BLURRED_PX = 0.1
"""Corners that noise alone would move by more are not followed, working px."""

STILL_PX, STILL_SHARE, CROWD_SHARE = 0.12, 0.3, 0.75
"""Points nearer to their old places than the first, in working px, stand still. Where the second
share of all points stands still and less than the third agrees with the turn, clouds move and
the camera does not."""


WILDEST_PX = 1.0
"""Points that scatter more than this about a common turn do not show one, working pixels."""

TUKEY = 4.685
"""Cut of the biweight, standard deviations: 95 % efficiency for normal scatter (P. J. Holland and
R. E. Welsch, Communications in Statistics A6, 813, 1977)."""

ROUNDS = 6
"""Most steps of the robust fit."""

NOISE_FLOOR_PX = 0.02
"""Least scatter of a followed point, working px."""

SHARED_PX = 0.015
"""Error of following that all points may share (interpolation, coding), working px."""

CHI_SQUARE_999 = 16.266
"""99.9 % point of chi-square with three degrees of freedom: a motion below it may be chance."""

WORTH_PX = 0.1
"""A smaller shift of the picture, px, is left out: a ball is not placed better than that."""

MEMORY = 0.9
"""Share of a point's trust that it keeps from frame to frame."""

AGREEING, FEWEST_SHARE = 0.25, 0.3
"""Weight above which a point agrees with the turn, and the least share of points that must."""

COARSE_WIDTH = 240
"""Longer side of the picture in which a jump is searched for, px."""


@dataclass(frozen=True)
class Motion:
    """The camera's turn since the reference frame.

    Attributes
    ----------
    turn_rad : ndarray, shape (3,)
        Rotation vector about the camera's own axes (right, down, forward), applied after the
        reference's rotation; exactly zero where the motion is not significant.
    covariance : ndarray, shape (3, 3)
        Of the turn, rad².
    significant : bool
        Whether the camera has moved at all.
    shift_px : float
        Root mean square shift of the picture over the followed points, as measured.
    agreement : float
        Share of the followed points that stand still in this motion, 0 to 1.
    lost : bool
        Too few points were followed; the turn is then the last known one.
    """

    turn_rad: Array
    covariance: Array
    significant: bool
    shift_px: float
    agreement: float
    lost: bool = False


class SteadyReference:
    """Follows the still background from a reference frame through the frames of a clip.

    Corners spread over the frame are followed from the reference frame itself (Lucas and Kanade
    1981; Bouguet 2001), so nothing drifts. One rotation of the camera is fitted to all of them
    with Tukey's biweight; people and leaves are outliers, and a point that stays an outlier
    loses its weight.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
        The reference frame.
    camera : Camera
        As calibrated on the reference frame.

    Raises
    ------
    InputError
        If the frame has another size than the camera's, or too few points that can be followed.
    """

    def __init__(self, luma: Luma, camera: Camera) -> None:
        if (luma.shape[1], luma.shape[0]) != tuple(camera.size_px):
            raise InputError(
                f"the frame has {luma.shape[1]} x {luma.shape[0]} pixels and the camera was "
                f"calibrated on {camera.size_px[0]} x {camera.size_px[1]}",
                remedy="calibrate the camera on a frame of this clip",
            )
        self.camera = camera
        self._shrink = min(1.0, WORK_WIDTH / max(luma.shape))
        small = self._small(luma)
        self._points = _corners(small)
        if len(self._points) < FEWEST_POINTS:
            raise InputError(
                f"the picture shows only {len(self._points)} points that can be "
                "followed, so the camera's motion cannot be measured",
                remedy="film with more of the surroundings in the frame",
            )
        self._reference = small
        pixels = (self._points + 0.5) / self._shrink - 0.5
        rays = camera.rays(pixels) @ camera.rotation.T
        usable = np.all(np.isfinite(rays), axis=1)
        self._points, self._rays = self._points[usable], rays[usable]
        self._pixels = pixels[usable]
        own = replace(camera, rotation=np.eye(3), position=np.zeros(3))
        slope = own.project_with_jacobians(self._rays)[2][:, :, :3]
        self._slope = slope.reshape(-1, 3)
        self._trust = np.ones(len(self._points))
        self._turn = np.zeros(3)

    def motion(self, luma: Luma) -> Motion:
        """Return the camera's turn from the reference frame to this one.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        """
        small = self._small(luma)
        match = self._match(small, self._turn)
        if match is None:
            # A jump: start from the shift of the whole picture.
            match = self._match(small, self._jump(small))
        if match is None:
            return self._lost()
        found, turn, weights, covariance, still = match
        agreement = float(np.mean((weights > AGREEING) & found))
        self._turn = turn
        self._trust = MEMORY * self._trust + (1.0 - MEMORY) * np.where(found, weights, 0.0)
        shift = float(np.sqrt(np.mean(np.sum((self._seen(turn) - self._pixels) ** 2, axis=1))))
        if agreement < CROWD_SHARE and still >= STILL_SHARE:
            self._turn = np.zeros(3)
            return Motion(np.zeros(3), np.zeros((3, 3)), False, shift, still)
        surprise = float(turn @ np.linalg.solve(covariance, turn))
        significant = surprise > CHI_SQUARE_999 and shift > WORTH_PX
        return Motion(
            turn_rad=turn if significant else np.zeros(3),
            covariance=covariance if significant else np.zeros((3, 3)),
            significant=significant,
            shift_px=shift,
            agreement=agreement,
        )

    def camera_at(self, motion: Motion) -> Camera:
        """Return the camera of the frame in which a motion was seen.

        The reference's own camera where the motion is not significant; else turned, with the
        uncertainty of the turn added.
        """
        if not motion.significant:
            return self.camera
        turned = self.camera.perturbed(np.concatenate([motion.turn_rad, np.zeros(11)]))
        carry = np.eye(14)
        carry[:3, :3] = rotation_from_vector(motion.turn_rad)
        covariance = carry @ self.camera.covariance @ carry.T
        covariance[:3, :3] += motion.covariance
        return turned.with_covariance(covariance)

    def _small(self, luma: Luma) -> Luma:
        import cv2

        if self._shrink == 1.0:
            return np.ascontiguousarray(luma)
        small = cv2.resize(
            luma, None, fx=self._shrink, fy=self._shrink, interpolation=cv2.INTER_AREA
        )
        return np.asarray(small, np.uint8)

    def _match(
        self, small: Luma, guess: Array
    ) -> tuple[NDArray[np.bool_], Array, Array, Array, float] | None:
        """Follow and fit from a guess of the turn; None where too few points agree.

        Returns which points were found, the turn, their weights, its covariance, and the share
        of points that have not moved at all.
        """
        found, pixels = self._follow(small, guess)
        if np.sum(found) < FEWEST_POINTS:
            return None
        gone = np.linalg.norm(pixels - self._pixels, axis=1)
        still = float(np.mean(found & (gone * self._shrink < STILL_PX)))
        turn, weights, covariance = self._fit(pixels, found, guess)
        agreeing = (weights > AGREEING) & found
        if np.sum(agreeing) < FEWEST_POINTS or np.mean(agreeing) < FEWEST_SHARE:
            return None
        return found, turn, weights, covariance, still

    def _jump(self, small: Luma) -> Array:
        """Return a rough turn from the shift of the whole picture."""
        import cv2

        shrink = min(1.0, COARSE_WIDTH / max(small.shape))
        before, after = (
            cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA).astype(
                np.float32
            )
            for picture in (self._reference, small)
        )
        window = cv2.createHanningWindow(before.shape[::-1], cv2.CV_32F)
        (column, row), _ = cv2.phaseCorrelate(before, after, window)
        away = np.array([-row, column, 0.0]) / (shrink * self._shrink)
        return np.asarray(away / self.camera.focal_px, float)

    def _follow(self, small: Luma, guess: Array) -> tuple[NDArray[np.bool_], Array]:
        """Return which points were found again, and where, in pixels of the whole frame."""
        import cv2

        start = (self._seen(guess) + 0.5) * self._shrink - 0.5
        after, found, _ = cv2.calcOpticalFlowPyrLK(
            self._reference,
            small,
            self._points.astype(np.float32),
            start.astype(np.float32),
            winSize=(WINDOW_PX, WINDOW_PX),
            maxLevel=LEVELS,
            criteria=(cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 12, 0.01),
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )
        pixels = (np.asarray(after, np.float64).reshape(-1, 2) + 0.5) / self._shrink - 0.5
        return np.asarray(found).ravel() == 1, pixels

    def _seen(self, turn: Array) -> Array:
        """Return where the points lie after a turn, in pixels of the whole frame."""
        turned = self._rays @ rotation_from_vector(turn).T
        bent = distort(turned[:, :2] / np.maximum(turned[:, 2:], 1e-3), self.camera.distortion)
        return self.camera.focal_px * bent + self.camera.centre_px

    def _fit(
        self, pixels: Array, found: NDArray[np.bool_], guess: Array
    ) -> tuple[Array, Array, Array]:
        """Fit one turn robustly; return it, each point's weight and the turn's covariance.

        The slope at rest serves for all turns: they are small, and the steps repeat.
        """
        floor = NOISE_FLOOR_PX / self._shrink
        turn = self._first(pixels, found, guess)
        chosen = found & (self._trust > 0.3)
        chosen = chosen if np.sum(chosen) >= FEWEST_POINTS else found
        for _ in range(ROUNDS):
            residual = pixels - self._seen(turn)
            size = np.hypot(residual[:, 0], residual[:, 1])
            scale = max(sigma_of_radii(size[chosen]), floor)
            weights = np.where(found, tukey_weights(size / scale, TUKEY), 0.0)
            heavy = np.repeat(weights * self._trust, 2)
            weighted = self._slope * heavy[:, None]
            inverse = np.linalg.inv(weighted.T @ self._slope + 1e-9 * np.eye(3))
            step = inverse @ (weighted.T @ residual.ravel())
            turn = turn + step
            if np.abs(step).max() * self.camera.focal_px < 0.01 * floor:
                break
        covariance = scale**2 * inverse @ (weighted.T @ weighted) @ inverse
        shared = (SHARED_PX / self._shrink / self.camera.focal_px) ** 2
        if scale * self._shrink > WILDEST_PX:
            weights = np.zeros(len(found))
        return turn, weights, covariance + shared * np.eye(3)

    def _first(self, pixels: Array, found: NDArray[np.bool_], guess: Array) -> Array:
        """Return the better of the guess and the turn of the median shift."""
        missed = (pixels - self._seen(guess))[found]
        cost = float(np.median(np.hypot(missed[:, 0], missed[:, 1])))
        if cost * self._shrink < WILDEST_PX:
            return guess
        gap = np.median((pixels - self._pixels)[found], axis=0) / self.camera.focal_px
        other = np.array([-gap[1], gap[0], 0.0])
        missed = (pixels - self._seen(other))[found]
        return other if np.median(np.hypot(missed[:, 0], missed[:, 1])) < cost else guess

    def _lost(self) -> Motion:
        significant = bool(np.any(self._turn))
        spread = (10.0 / self.camera.focal_px) ** 2 * np.eye(3)
        return Motion(
            turn_rad=self._turn.copy(),
            covariance=spread,
            significant=significant,
            shift_px=float("nan"),
            agreement=0.0,
            lost=True,
        )


def _corners(small: Luma) -> Array:
    """Return corners spread over the picture, shape (N, 2): the strongest of each cell.

    A corner counts where noise moves it little: in the sky the strongest corner is noise.
    """
    import cv2

    # OpenCV scales the gradients by 2 / (block * 255); undone here: levels per pixel.
    strength = cv2.cornerMinEigenVal(small, BLOCK) * (BLOCK * 255.0 / 2.0) ** 2
    share = (WINDOW_PX / BLOCK) ** 2
    least = 2.0 * (_noise(small) / BLURRED_PX) ** 2 / share
    height, width = small.shape
    margin = WINDOW_PX // 2 + 1
    found = []
    for i in range(CELLS[1]):
        for j in range(CELLS[0]):
            top, bottom = (round(height * (i + k) / CELLS[1]) for k in (0, 1))
            left, right = (round(width * (j + k) / CELLS[0]) for k in (0, 1))
            top, bottom = max(top, margin), min(bottom, height - margin)
            left, right = max(left, margin), min(right, width - margin)
            cell = strength[top:bottom, left:right]
            if cell.size and cell.max() > least:
                row, column = np.unravel_index(int(np.argmax(cell)), cell.shape)
                found.append((left + column, top + row))
    return np.array(found, float).reshape(-1, 2)


def _noise(small: Luma) -> float:
    """Return the noise of the flattest tenth of the picture, levels (Immerkaer 1996)."""
    import cv2

    kernel = np.array([[1.0, -2.0, 1.0], [-2.0, 4.0, -2.0], [1.0, -2.0, 1.0]])
    rough = np.abs(cv2.filter2D(small, cv2.CV_32F, kernel))
    # A strip of a frame may be less than one block of 16 pixels high.
    fy, fx = (max(1.0 / 16.0, 1.0 / length) for length in rough.shape)
    blocks = cv2.resize(rough, None, fx=fx, fy=fy, interpolation=cv2.INTER_AREA)
    return max(0.5, float(np.percentile(blocks, 10) * np.sqrt(np.pi / 2.0) / 6.0))
