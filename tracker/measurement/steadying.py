"""The camera's rotation during a clip, and candidates corrected for it."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.steadiness import SteadyReference
from tracker.records import Candidates

Array = NDArray[np.float64]

GLANCE_S = 0.1
"""Interval at which a still camera is checked for motion, s. Chosen for time."""

ALERT_S = 0.5
"""Time after a motion in which every frame is checked, s: a swaying camera moves on."""

AFAR_M = 30.0
"""Distance at which lines of sight are transferred, m; a rotation moves near and far alike."""

STEADY_U_PX = 0.05
"""Standard uncertainty that the correction adds to a position, px. From drawn clips."""


class Steadier:
    """Measures the camera's rotation through a clip and corrects the candidates for it.

    Parameters
    ----------
    camera : Camera
        As in the clip's first frame.
    frame_s : float
        True time from one frame to the next.
    """

    def __init__(self, camera: Camera, frame_s: float) -> None:
        self._camera = camera
        self._every = max(1, round(GLANCE_S / frame_s))
        self._alert = max(1, round(ALERT_S / frame_s))
        self._alert_until = 0
        self._reference: SteadyReference | None = None
        self._turns: dict[int, Array] = {}
        self._count = 0
        self.moves = False

    def see(self, frame: int, luma: NDArray[np.uint8]) -> None:
        """Take the next frame."""
        if self._reference is None:
            if self._count == 0:
                self._begin(luma)
        elif self._count <= self._alert_until or self._count % self._every == 0:
            motion = self._reference.motion(luma)
            if motion.significant:
                self.moves = True
                self._alert_until = self._count + self._alert
                self._turns[frame] = motion.turn_rad
        self._count += 1

    def _begin(self, luma: NDArray[np.uint8]) -> None:
        try:
            self._reference = SteadyReference(luma, self._camera)
        except InputError:
            # A frame without texture shows no motion.
            self._reference = None

    def steadied(self, candidates: Candidates) -> Candidates:
        """Return the candidates with their pixels as of the still camera."""
        turn = self._turns.pop(candidates.frame, None)
        for old in [frame for frame in self._turns if frame < candidates.frame]:
            del self._turns[old]
        if turn is None or not np.any(turn) or not len(candidates.pixels):
            return candidates
        moved = turned(self._camera, turn)
        afar = moved.position + AFAR_M * moved.rays(candidates.pixels)
        return replace(candidates, pixels=self._camera.project(afar), turn_rad=turn)


def turned(camera: Camera, turn_rad: Array) -> Camera:
    """Return the camera rotated about its own axes."""
    return camera.perturbed(np.concatenate([turn_rad, np.zeros(11)]))


def offsets(camera: Camera, candidates: list[Candidates], pixels: Array) -> Array:
    """Return the shift of each frame's pixels against the still camera's, shape (N, 2).

    Parameters
    ----------
    camera : Camera
        The still one.
    candidates : list of Candidates
        One a row, for the rotation of its frame.
    pixels : ndarray, shape (N, 2)
        As of the still camera.
    """
    moved = np.zeros((len(candidates), 2))
    if not any(each.turn_rad is not None for each in candidates):
        return moved
    afar = camera.position + AFAR_M * camera.rays(pixels)
    for row, each in enumerate(candidates):
        if each.turn_rad is not None:
            moved[row] = turned(camera, each.turn_rad).project(afar[row])[0] - pixels[row]
    return moved
