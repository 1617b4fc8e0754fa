"""A camera that sways on a tripod or in a hand, and the field as it then sees it."""

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.plate import Plate
from tracker.synthetic.scene import Scene
from tracker.synthetic.sensor import Sensor

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""

STEP = 16
"""Pixels from one exact line of sight to the next; those between are interpolated, to 0.001 px."""

KNOCK_S = 0.1
"""Time in which a knocked tripod comes to rest, s. Common practice, no source."""

KNOCK_SHARES = (0.3, 0.7)
"""Part of a clip in which a tripod is knocked, as shares of its length."""

KNOCK_ROLL_SHARE = 0.3
"""Largest roll of a knocked camera, as a share of its turn. Common practice, no source."""

FARTHEST_M = 300.0
"""Distance of what neither ground nor hedge stops, m."""


@dataclass(frozen=True)
class Sway:
    """Small turns and shifts of a camera about and along its three axes.

    Parameters
    ----------
    turns_rad : ndarray, shape (3, K)
        Amplitudes.
    rates_hz, phases_rad : ndarray, shape (3, K)
    shifts_m : ndarray, shape (3, K)
        Amplitudes along the ground axes; they keep to the same rates, a quarter turn later.
    knock_s : float
        When the tripod is knocked; never where it is infinite.
    knock_rad : ndarray, shape (3,)
        Turn that stays from then on.
    """

    turns_rad: Array
    rates_hz: Array
    phases_rad: Array
    shifts_m: Array = field(default_factory=lambda: np.zeros((3, 1)))
    knock_s: float = np.inf
    knock_rad: Array = field(default_factory=lambda: np.zeros(3))

    def turn(self, time_s: float) -> Array:
        """Return the turn about right, down and forward axes, shape (3,); none at time zero."""
        knocked = float(np.clip((time_s - self.knock_s) / KNOCK_S, 0.0, 1.0))
        return self._swing(self.turns_rad, self.phases_rad, time_s) + knocked * self.knock_rad

    def shift(self, time_s: float) -> Array:
        """Return the shift along the ground axes, m, shape (3,); none at time zero."""
        return self._swing(self.shifts_m, self.phases_rad + 0.5 * np.pi, time_s)

    def _swing(self, size: Array, phases: Array, time_s: float) -> Array:
        angle = 2.0 * np.pi * self.rates_hz * time_s + phases
        found: Array = np.sum(size * (np.sin(angle) - np.sin(phases)), axis=1)
        return found

    def camera(self, steady: Camera, time_s: float) -> Camera:
        """Return the camera as it stands at a time."""
        return steady.perturbed(
            np.concatenate([self.turn(time_s), self.shift(time_s), np.zeros(8)])
        )


def draw_sway(
    sway_px: float, focal_px: float, rng: np.random.Generator, shift_m: float = 0.0
) -> Sway:
    """Draw a sway whose picture moves by a standard deviation of `sway_px` in each direction.

    A tripod in wind trembles between about 0.3 and 3 Hz, and so does a phone in two hands (common
    practice, no source); its roll is half its other turns. `shift_m` is the standard deviation of
    the camera's place along each axis.
    """
    rates = rng.uniform(0.3, 3.0, (3, 4)) ** np.array([1.0, 1.0, 1.2, 1.5])
    size = rng.uniform(0.5, 1.0, (3, 4)) / np.maximum(rates, 0.6)
    size = size / np.sqrt(0.5 * np.sum(size**2, axis=1, keepdims=True))
    turns = size * sway_px / focal_px * np.array([[1.0], [1.0], [0.5]])
    phases = rng.uniform(0.0, 2.0 * np.pi, (3, 4))
    return Sway(turns, rates, phases, size * shift_m)


def draw_knock(
    knock_px: float, focal_px: float, duration_s: float, rng: np.random.Generator
) -> Sway:
    """Draw a tripod that is knocked once, by which the picture moves by `knock_px`."""
    way = rng.uniform(0.0, 2.0 * np.pi)
    turn = np.array([np.sin(way), np.cos(way), rng.uniform(-1.0, 1.0) * KNOCK_ROLL_SHARE])
    still = np.zeros((3, 1))
    return Sway(
        still,
        still,
        still,
        knock_s=duration_s * float(rng.uniform(*KNOCK_SHARES)),
        knock_rad=turn * knock_px / focal_px,
    )


@dataclass(frozen=True)
class FrameCamera:
    """The camera while the rows of one frame are exposed.

    Parameters
    ----------
    steady : Camera
        At time zero.
    time_s : float
        Of the frame's middle row.
    sway : Sway, optional
    half_s : float
        Half the time in which the frame is taken.
    """

    steady: Camera
    time_s: float = 0.0
    sway: Sway | None = None
    half_s: float = 0.0

    @property
    def middle(self) -> Camera:
        """The camera when the middle row is exposed."""
        return self.at(self.time_s)

    def at(self, time_s: float) -> Camera:
        """Return the camera as it stands at a time."""
        return self.steady if self.sway is None else self.sway.camera(self.steady, time_s)

    def project(self, points: Array, times_s: Array) -> Array:
        """Project points, shape (N, 3), each at its time, shape (N,), to pixels.

        Between the beginning, the middle and the end of the frame pixels follow a parabola.
        """
        if self.sway is None or self.half_s <= 0.0:
            return self.middle.project(points)
        before, now, after = (
            self.at(self.time_s + share * self.half_s).project(points) for share in (-1, 0, 1)
        )
        share = ((times_s - self.time_s) / self.half_s)[:, None]
        found: Array = (
            now + share * (after - before) / 2.0 + share**2 * ((after + before) / 2.0 - now)
        )
        return found

    def still_pixels(self, points: Array, sensor: Sensor) -> Array:
        """Return where things that stand still show in the frame, shape (N, 2), row by row."""
        pixels = self.middle.project(points)
        for _ in range(4):
            share = np.clip(sensor.row_share(pixels, self.steady.size_px), -0.5, 0.5)
            pixels = self.project(points, self.time_s + share * sensor.readout_s)
        return pixels


def frame_camera(steady: Camera, sensor: Sensor, sway: Sway | None, time_s: float) -> FrameCamera:
    """Return the camera of the frame that is taken at a time."""
    return FrameCamera(steady, time_s, sway, 0.5 * (sensor.readout_s + sensor.exposure_s))


def seen_by(steady: Plate, moved: FrameCamera, scene: Scene, sensor: Sensor, out: Plate) -> None:
    """Write on `out` the steady camera's plate as the swaying camera sees it, row by row.

    Each line of sight is followed to the ground or to the hedge's plane, whichever is nearer, so a
    shifted camera sees near things move more than far ones. What stands on the ground moves with
    the ground behind it.
    """
    camera = moved.steady
    width, height = camera.size_px
    columns = (np.arange(-1, -(-width // STEP) + 1) + 0.5) * STEP - 0.5
    rows = (np.arange(-1, -(-height // STEP) + 1) + 0.5) * STEP - 0.5
    grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    share = np.clip(sensor.row_share(grid, camera.size_px), -0.5, 0.5)
    source = np.empty_like(grid)
    for each in np.unique(share):
        at = share == each
        there = moved.at(moved.time_s + float(each) * sensor.readout_s)
        source[at] = camera.project(_struck(there, grid[at], scene))
    places = source.reshape(len(rows), len(columns), 2).astype(np.float32)
    wide, tall = STEP * len(columns), STEP * len(rows)
    fine = cv2.resize(places, (wide, tall), interpolation=cv2.INTER_LINEAR)
    fine = fine[STEP : STEP + height, STEP : STEP + width]
    coarse = cv2.resize(fine, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    coarse = (coarse - np.float32(0.5)) / np.float32(2.0)
    for old, new, where in (
        (steady.luma, out.luma, fine),
        (steady.blue, out.blue, coarse),
        (steady.red, out.red, coarse),
    ):
        cv2.remap(
            old,
            np.ascontiguousarray(where[..., 0]),
            np.ascontiguousarray(where[..., 1]),
            cv2.INTER_CUBIC,
            dst=new,
            borderMode=cv2.BORDER_REPLICATE,
        )


def _struck(camera: Camera, pixels: Array, scene: Scene) -> Array:
    """Return the points that lines of sight strike: of the ground or of the hedge's plane."""
    rays = camera.rays(pixels)
    with np.errstate(divide="ignore", invalid="ignore"):
        down = -camera.position[2] / rays[:, 2]
        across = (scene.hedge_across_m - camera.position[1]) / rays[:, 1]
    far = np.full(len(rays), FARTHEST_M)
    reach = np.minimum(np.where(down > 0.0, down, far), np.where(across > 0.0, across, far))
    struck: Array = camera.position + np.minimum(reach, far)[:, None] * rays
    return struck
