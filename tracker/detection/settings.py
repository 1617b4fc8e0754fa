"""What the finder looks for in a clip, from the calibration and the flights of usual shots."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.flight.forces import Forces
from tracker.flight.integration import fly_many

Array = NDArray[np.float64]
Window = tuple[int, int, int, int]

SPEEDS_MPS = np.arange(6.0, 36.1, 3.0)
ANGLES_DEG = np.arange(0.0, 81.0, 8.0)
AZIMUTHS_DEG = np.array([-8.0, 0.0, 8.0])
"""Exit speeds, m/s, launch angles and azimuths of usual shots (common practice, no source)."""

FLIGHT_S, STEP_S = 5.0, 0.02
"""Length and step of their flights, s: longer than any of them, finer than a frame."""

USUAL_PERCENTILE, FAST_PERCENTILE = 40, 75
"""Percentiles of the paths from frame to frame that set the lag and the size of a cutout (common
practice, no source)."""

MARGIN_PX, PATCH_MARGIN_PX = 4.0, 4.0
"""Room around all flights in the window, and around ball and streak in a cutout, px (common
practice, no source)."""

PATCH_HALVES = (6, 40)
"""Least and most of half a cutout's side, px: background enough on one side, time and memory on the
other."""

LONGEST_LAG = 8
"""Frames between a frame and its neighbours at most: each needs to be kept in memory."""

SMALL_BALL_PX, MOST_SMALL, MOST_LARGE = 8.0, 90, 60
"""Below this diameter, px, so many candidates are kept per frame, else the smaller number: small
balls have more rivals (common practice, no source)."""

UNSEEN_DIAMETER_PX, UNSEEN_STEP_PX = 4.0, 10.0
"""Diameter and path from frame to frame, px, where no usual flight is in view (common practice, no
source)."""


@dataclass(frozen=True)
class SearchSettings:
    """What the calibration says about the ball's size and motion in a clip.

    Attributes
    ----------
    diameter_px : float
        Typical diameter of the ball.
    step_px : float
        Typical path of the ball from one frame to the next.
    lag : int
        Frames between a frame and the two that are subtracted from it: enough for the ball to
        leave its own place.
    window : tuple of int
        First column, first row, end column, end row of the part of the frame in which a
        flight from the release point can show.
    most : int
        Candidates kept per frame.
    centred : bool
        Whether a candidate's place is the middle of what changed around it, to a part of a cell:
        for a ball so large that its edges would be candidates of their own.
    everywhere : bool
        Whether the candidates that a window of the whole frame would have come as well.
    """

    diameter_px: float
    step_px: float
    lag: int
    window: Window
    most: int = 120
    centred: bool = False
    everywhere: bool = False

    @property
    def patch_half(self) -> int:
        """Half the side of a cutout, less its middle pixel: ball, streak and a margin."""
        reach = self.diameter_px / 2.0 + self.step_px / 2.0 + PATCH_MARGIN_PX
        return int(np.clip(np.ceil(reach), *PATCH_HALVES))


@dataclass(frozen=True)
class ComponentSettings:
    """What is looked for in one component, in its own pixels.

    Attributes
    ----------
    window : tuple of int
        First column, first row, end column, end row of the part that is watched.
    diameter_px : float
        Of the ball.
    lag : int
        Frames between a frame and the two that are subtracted from it.
    half : int
        Half the side of a cutout, less its middle pixel.
    most : int
        Places kept per frame.
    centred : bool
        Whether a place is the middle of the change around it, to a part of a cell.
    described : bool
        Whether the backdrop is taken, and frames are kept for cutouts.
    everywhere : bool
        Whether places everywhere are found as well, as a window of the whole component would have
        them.
    """

    window: Window
    diameter_px: float
    lag: int
    half: int
    most: int
    centred: bool = False
    described: bool = True
    everywhere: bool = False


def settings_for(
    camera: Camera,
    release_m: Array,
    diameter_m: float,
    drag: float,
    forces: Forces,
    frame_s: float,
) -> SearchSettings:
    """Return what to look for, from flights of every usual kind in this camera's view.

    Parameters
    ----------
    camera : Camera
    release_m : ndarray, shape (3,)
    diameter_m : float
    drag : float
        Drag coefficient.
    forces : Forces
    frame_s : float
        True time from one frame to the next.
    """
    _, states = fly_many(_launches(release_m, drag), forces, FLIGHT_S, STEP_S)
    width, height = camera.size_px
    pixels = camera.project(states[:, :, :3].reshape(-1, 3)).reshape(*states.shape[:2], 2)
    depth = camera.in_camera(states[:, :, :3].reshape(-1, 3))[:, 2].reshape(states.shape[:2])
    with np.errstate(invalid="ignore"):
        shows = (
            (states[:, :, 2] > 0.0)
            & (pixels[:, :, 0] >= 0)
            & (pixels[:, :, 0] < width)
            & (pixels[:, :, 1] >= 0)
            & (pixels[:, :, 1] < height)
        )
    if not np.any(shows[:-1] & shows[1:]):
        return SearchSettings(UNSEEN_DIAMETER_PX, UNSEEN_STEP_PX, 1, (0, 0, width, height))
    diameter = float(np.median(camera.focal_px * diameter_m / depth[shows]))
    moved = np.linalg.norm(np.diff(pixels, axis=0), axis=2) * (frame_s / STEP_S)
    moved = moved[shows[:-1] & shows[1:]]
    usual, fast = np.percentile(moved, [USUAL_PERCENTILE, FAST_PERCENTILE])
    margin = diameter + fast + MARGIN_PX
    left, top = np.floor(np.min(pixels[shows], axis=0) - margin).astype(int)
    right, bottom = np.ceil(np.max(pixels[shows], axis=0) + margin).astype(int)
    return SearchSettings(
        diameter_px=diameter,
        step_px=float(fast),
        lag=lag_for(diameter, float(usual)),
        window=(max(0, left), max(0, top), min(width, right + 1), min(height, bottom + 1)),
        most=MOST_SMALL if diameter < SMALL_BALL_PX else MOST_LARGE,
    )


def lag_for(diameter_px: float, step_px: float) -> int:
    """Return the least lag at which a ball has left its own place.

    Parameters
    ----------
    diameter_px : float
    step_px : float
        Its path from one frame to the next.
    """
    return int(np.clip(round((diameter_px + 1.0) / max(step_px, 0.1) + 0.4), 1, LONGEST_LAG))


def _launches(release_m: Array, drag: float) -> Array:
    """Return the states of usual shots at release, shape (N, 11)."""
    angles, azimuths = np.radians(ANGLES_DEG), np.radians(AZIMUTHS_DEG)
    grids = np.meshgrid(SPEEDS_MPS, angles, azimuths)
    speed, angle, azimuth = (grid.ravel() for grid in grids)
    launches = np.zeros((len(speed), 11))
    launches[:, 0:3] = release_m
    launches[:, 3] = speed * np.cos(angle) * np.cos(azimuth)
    launches[:, 4] = speed * np.cos(angle) * np.sin(azimuth)
    launches[:, 5] = speed * np.sin(angle)
    launches[:, 6] = drag
    return launches
