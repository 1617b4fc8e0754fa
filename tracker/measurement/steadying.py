"""The camera's motion during a clip, taken out of the frames before they are searched."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.steadiness import Motion, Rolling, SteadyReference, reference_rolling
from calibration.steadiness.motion import moved_pixels, slopes
from calibration.steadiness.rolling import START_FRAMES
from calibration.timebase import row_fraction
from tracker.records import Candidates, Steadied

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]
Window = tuple[int, int, int, int]

GLANCE_S = 0.1
"""Interval at which a still camera is checked for motion, s. Chosen for time."""

ALERT_S, SOON_S = 0.5, 1.0 / 60.0
"""Time after a motion in which every frame is checked, s: a swaying camera moves on. So long at the
clip's beginning too, at this interval: a hand is still in a sixtieth of a second."""

NEAR_M, AFAR_M = 2.0, 30.0
"""Least distance of the firing line's plane along a line of sight, and the distance that is taken
where a line of sight does not meet it, m."""

GRID = (17, 11)
"""Lines of sight across and down that a homography is fitted to: it is off by up to 0.3 px, as a
lens distorts and rows are read one after the other, which is made good at the candidates."""

BEGINNING_S = 1.0
"""Part of the clip that shows how the first frame was sheared, s: a few swings of a hand."""

HAND_RAD = 0.01
"""Amplitude of the turns that is expected of a camera that moves in its first second, rad: that of
two hands (common practice, no source)."""

SIGHT_EVERY = 3
"""One of so many frames of the beginning helps to refine the camera. Chosen for time."""

LINE_M = (0.0, 40.0, 21)
"""First and last place along the firing line where markers stand, m, and the number of places that
stand for them. Common practice, no source."""

BACK_ROUNDS = 4
"""Rounds in which a filmed pixel is traced back to the still camera's: each leaves a few percent of
what was left, since a motion hardly changes from one pixel to its neighbour."""

ROW_ROUNDS = 2
"""Rounds in which a pixel's row and the time at which it is read are brought together."""


class Steadier:
    """Measures the camera's motion through a clip and draws its frames as the still camera's.

    Parameters
    ----------
    camera : Camera
        As in the clip's first frame.
    frame_s : float
        True time from one frame to the next.
    rotation_deg : int
        Quarter turns counter-clockwise that bring the stored picture to the shown one.
    beginning : callable, optional
        Gives the luma of the clip's first frames anew, from the first on: where the camera moves,
        they show how the first one was sheared while it was read.
    part : tuple of int, optional
        First column, first row, end column and end row of what is drawn anew; else the whole frame.
    """

    def __init__(
        self,
        camera: Camera,
        frame_s: float,
        rotation_deg: int = 0,
        beginning: Callable[[], Iterator[Codes]] | None = None,
        part: Window | None = None,
    ) -> None:
        self._camera, self._rotation_deg = camera, rotation_deg
        self._frame_s, self._beginning = frame_s, beginning
        self._part = _even((0, 0, *camera.size_px) if part is None else part, camera.size_px)
        self._every = max(1, round(GLANCE_S / frame_s))
        self._soon = max(1, round(SOON_S / frame_s))
        self._alert = max(1, round(ALERT_S / frame_s))
        self._begun = max(START_FRAMES, round(BEGINNING_S / frame_s))
        self._alert_until = self._alert
        self._reference: SteadyReference | None = None
        self._motions: dict[int, tuple[Motion, Array]] = {}
        """Of each frame that is drawn anew, and the homography that it is drawn through."""
        self._before: tuple[Codes, Codes | None] | None = None
        self._count = 0
        self.moves = False
        self._looked = self._lost = 0
        self.lost = False
        """Whether the background could not be followed when it was last looked at."""

    def see(
        self, frame: int, luma: Codes, blueness: Codes | None = None
    ) -> tuple[Codes, Codes | None]:
        """Take the next frame; return it as the still camera would have seen it.

        What lies outside the frame as filmed is shown as in the frame before.
        """
        motion: Motion | None = None
        if self._reference is None:
            if self._count % self._every == 0:
                self.begin(luma)
        elif self._due:
            motion = self._motion(self._reference, luma, self._count)
            self._looked += 1
            self.lost = motion is not None and motion.lost
            # What single frames are too noisy to show, their means may.
            stood = self._reference.averages.stood and not self.moves
            self._lost = 0 if stood else self._lost + self.lost
        self._count += 1
        drawn = luma, blueness
        if motion is not None and motion.significant:
            self.moves = True
            self._alert_until = self._count + self._alert
            matrix = self._homography(motion)
            self._motions[frame] = motion, matrix
            drawn = self._redrawn(matrix, luma, blueness)
        self._before = drawn
        return drawn

    @property
    def _due(self) -> bool:
        """Whether the next frame is checked for motion."""
        step = 1 if self.moves else self._soon
        alert = self._count <= self._alert_until and self._count % step == 0
        return alert or self._count % self._every == 0

    def _motion(self, reference: SteadyReference, luma: Codes, count: int) -> Motion | None:
        """Return the camera's motion, None where it plainly stood so far and stands."""
        if not self.moves and reference.stands(luma):
            return None
        motion = reference.motion(luma, count)
        if motion.significant and not self.moves:
            self._straighten(reference)
            motion = reference.motion(luma, count)
        return motion

    @property
    def camera(self) -> Camera:
        """The camera as the motion of the background has corrected it."""
        return self._camera if self._reference is None else self._reference.camera

    @property
    def lost_share(self) -> float:
        """Share of the frames looked at in which the camera's motion could not be followed."""
        return self._lost / max(self._looked, 1)

    @property
    def blind(self) -> bool:
        """Whether no frame showed enough points to follow, so that a motion would go unnoticed."""
        return self._count > 0 and self._reference is None

    def renew(self, luma: Codes) -> None:
        """Hold the frames from this one on against it: what was seen before is out of sight."""
        self._camera = self.camera
        self._beginning, self._before, self.lost = None, None, False
        self.begin(luma)

    def begin(self, luma: Codes) -> None:
        """Take the frame that the others are held against: the first that shows enough points."""
        try:
            self._reference = SteadyReference(luma, self._camera, self._rotation_deg)
        except InputError:
            # A frame without texture shows no motion.
            self._reference = None

    def _straighten(self, reference: SteadyReference) -> None:
        """Take the first frame's shear out of the reference, where its beginning shows it.

        The same frames refine the camera, which then shows the readout time better.
        """
        if self._beginning is None:
            return
        with suppress(StopIteration, InputError):
            held = self._rolled(self._camera, self._beginning)
            pictures = self._beginning()
            fresh = SteadyReference(next(pictures), self._camera, self._rotation_deg)
            fresh.straighten(*held)
            seen = islice(pictures, self._begun)
            sights = [fresh.sight(luma, frame) for frame, luma in enumerate(seen, start=1)]
            fresh.refine([sight for sight in sights[::SIGHT_EVERY] if sight is not None])
            held = self._rolled(fresh.camera, self._beginning)
            reference.take(fresh.camera)
            reference.straighten(*held)

    def _rolled(
        self, camera: Camera, beginning: Callable[[], Iterator[Codes]]
    ) -> tuple[Rolling, float, float]:
        """Return what `SteadyReference.straighten` takes, from the clip's beginning."""
        pictures = beginning()
        fresh = SteadyReference(next(pictures), camera, self._rotation_deg, HAND_RAD)
        motions = [fresh.measured(luma) for luma in islice(pictures, self._begun)]
        turns = [float(np.linalg.norm(each.turn_rad[:2])) for each in motions]
        rolling = reference_rolling(motions, self._frame_s)
        return rolling, self._line_share(), max(turns, default=0.0)

    def _line_share(self) -> float:
        """Return how far down the readout the firing line shows: there the markers were picked."""
        line = np.column_stack([np.linspace(*LINE_M), np.zeros((LINE_M[2], 2))])
        pixels = self._camera.project(line)
        pixels = pixels[self._camera.in_frame(pixels)]
        if not len(pixels):
            return 0.0
        return float(np.mean(self._share(pixels)))

    def _share(self, pixels: Array) -> Array:
        share = row_fraction(pixels, self._camera.size_px, self._rotation_deg)
        return np.clip(np.nan_to_num(share), -0.5, 0.5)

    def steadied(self, candidates: Candidates) -> Candidates:
        """Return the candidates of a frame with what its correction did to them."""
        import cv2

        corrected = self._motions.pop(candidates.frame, None)
        # A copy, since the thread that sees frames adds to it.
        for old in [frame for frame in list(self._motions) if frame < candidates.frame]:
            del self._motions[old]
        if corrected is None or not len(candidates.pixels):
            return candidates
        motion, matrix = corrected
        filmed = cv2.perspectiveTransform(candidates.pixels[None], matrix)[0]
        followed, slope = self._filmed(motion, candidates.pixels)
        # What a still camera sees here is filmed elsewhere by a fraction of a pixel, over which a
        # motion of some degrees turns nothing.
        still = candidates.pixels + (filmed - followed)
        covariances = slope @ motion.covariance @ slope.transpose(0, 2, 1)
        return candidates.with_steadied(Steadied(filmed, still, covariances))

    def still_pixel(self, frame: int, filmed: tuple[float, float]) -> tuple[Array, Array]:
        """Return where the still camera would have shown a pixel of a frame that was seen.

        Parameters
        ----------
        frame : int
        filmed : tuple of float
            Column and row in the frame as filmed.

        Returns
        -------
        pixel : ndarray, shape (2,)
        covariance : ndarray, shape (2, 2)
            Of the correction, px².
        """
        place, covariance = np.array(filmed, float), np.zeros((2, 2))
        corrected = self._motions.get(frame)
        if corrected is None:
            return place, covariance
        motion, _ = corrected
        for _ in range(BACK_ROUNDS):
            seen, slope = self._filmed(motion, place[None])
            place = place + np.array(filmed) - seen[0]
            covariance = slope[0] @ motion.covariance @ slope[0].T
        return place, covariance

    def _filmed(self, motion: Motion, pixels: Array) -> tuple[Array, Array]:
        """Return where the moved camera sees what the still one sees at pixels, and the slopes.

        The distance is that of the firing line's upright plane, where the balls fly.
        """
        camera = self.camera
        rays = camera.rays(pixels)
        with np.errstate(divide="ignore", invalid="ignore"):
            away = -camera.position[1] / rays[:, 1]
        away = np.where((away > NEAR_M) & (away < np.inf), away, AFAR_M)
        seen = (away[:, None] * rays) @ camera.rotation.T
        filmed = pixels
        for _ in range(ROW_ROUNDS):
            share = self._share(filmed)
            filmed = moved_pixels(camera, motion.parameters, seen, share)
        return filmed, slopes(camera, seen, share)

    def _homography(self, motion: Motion) -> Array:
        """Return the homography from the still camera's frame to the one filmed, nearly."""
        import cv2

        width, height = self._camera.size_px
        columns, rows = np.linspace(0.0, width - 1.0, GRID[0]), np.linspace(0, height - 1, GRID[1])
        grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        filmed = self._filmed(motion, grid)[0]
        usable = np.all(np.isfinite(filmed), axis=1)
        return np.asarray(cv2.findHomography(grid[usable], filmed[usable], 0)[0], np.float64)

    def _redrawn(
        self, matrix: Array, luma: Codes, blueness: Codes | None
    ) -> tuple[Codes, Codes | None]:
        before = self._before or (luma, blueness)
        halve = np.array([[0.5, 0.0, -0.25], [0.0, 0.5, -0.25], [0.0, 0.0, 1.0]])
        colour, part = blueness, self._part
        if blueness is not None and before[1] is not None:
            halves = (part[0] // 2, part[1] // 2, part[2] // 2, part[3] // 2)
            colour = _warped(blueness, halve @ matrix @ np.linalg.inv(halve), halves, before[1])
        return _warped(luma, matrix, part, before[0]), colour


class Led:
    """Of a pass that stops where the camera moves, beside another that follows its motion.

    Up to there every frame is as it was filmed, and the motion is measured once.

    Parameters
    ----------
    leader : Steadier
        That has seen each frame before this one sees it.
    """

    def __init__(self, leader: Steadier) -> None:
        self._leader = leader

    @property
    def moves(self) -> bool:
        """Whether the camera has moved."""
        return self._leader.moves

    @property
    def lost(self) -> bool:
        """Whether the background could not be followed when it was last looked at."""
        return self._leader.lost

    @property
    def camera(self) -> Camera:
        """The camera as the motion of the background has corrected it."""
        return self._leader.camera

    def renew(self, luma: Codes) -> None:
        """Do nothing: the leader does."""

    @property
    def lost_share(self) -> float:
        """Share of the frames looked at in which the camera's motion could not be followed."""
        return self._leader.lost_share

    @property
    def blind(self) -> bool:
        """Whether no frame showed enough points to follow."""
        return self._leader.blind

    def see(
        self, frame: int, luma: Codes, blueness: Codes | None = None
    ) -> tuple[Codes, Codes | None]:
        """Return the frame as it was filmed."""
        return luma, blueness

    def steadied(self, candidates: Candidates) -> Candidates:
        """Return the candidates, which need no correction."""
        return candidates


def _even(part: Window, size_px: tuple[int, int]) -> Window:
    """Return the smallest part of the frame with even edges that holds another."""
    left, top = max(part[0], 0) // 2 * 2, max(part[1], 0) // 2 * 2
    return left, top, min(-(-part[2] // 2) * 2, size_px[0]), min(-(-part[3] // 2) * 2, size_px[1])


def _warped(picture: Codes, matrix: Array, part: Window, outside: Codes) -> Codes:
    """Return a picture with a part drawn through a homography; from another where it ends."""
    import cv2

    left, top, right, bottom = part
    corner = np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
    drawn = outside.copy()
    region = drawn[top:bottom, left:right]
    if not region.size:
        return drawn
    region[:] = cv2.warpPerspective(
        picture,
        matrix @ corner,
        (region.shape[1], region.shape[0]),
        dst=region.copy(),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_TRANSPARENT,
    )
    return drawn
