"""Small things that are carried through the air: insects, leaves, balls thrown by hand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.movers import Route
from tracker.synthetic.plate import Plate
from tracker.synthetic.scene import Light
from tracker.synthetic.sprite import Box, Shape, lay, limb, paint

Array = NDArray[np.float64]

APERTURE_M = 0.0024
"""Width of a phone's lens opening, m: 4.3 mm focal length at f/1.8 (data sheets; from memory).
What is nearer than the field is out of focus by that much over its distance (thin lens)."""

NEAREST_M = 0.15
"""Nothing is drawn nearer to the camera than this, m: it would fill the frame."""


@dataclass(frozen=True)
class Small:
    """A small thing in flight, drawn as the bar that it sweeps during the exposure.

    Parameters
    ----------
    route : Route
        Of its middle; it is seen on the way only.
    light : Light
    psf_px : float
        Standard deviation of the lens's point spread in focus, px.
    exposure_s : float
    size_m : float
        Across.
    tint : tuple of float
        Reflectance: red, green, blue.
    flutter_per_s : float
        How often a second it turns its edge to the camera; 0 for what is round.
    phase : float
        Where in its flutter it starts, rad.
    """

    route: Route
    light: Light
    psf_px: float
    exposure_s: float
    size_m: float
    tint: tuple[float, float, float]
    flutter_per_s: float = 0.0
    phase: float = 0.0

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return how far off it is, m."""
        return float(camera.in_camera(self.route.at(time_s))[0, 2])

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Draw it on the plate and return the box it touched."""
        depth = self.depth(camera, time_s)
        if depth < NEAREST_M or not self.route.times_s[0] <= time_s <= self.route.times_s[-1]:
            return []
        first, last = (self.route.at(time_s + 0.5 * end * self.exposure_s) for end in (-1.0, 1.0))
        turn = np.pi * self.flutter_per_s * time_s + self.phase
        thick = self.size_m * (abs(np.cos(turn)) if self.flutter_per_s else 1.0)
        right, down = camera.rotation[0], camera.rotation[1]
        swept = np.array([(last - first) @ right, (last - first) @ down])
        middle = 0.5 * (first + last)
        flat = limb(-0.5 * swept, 0.5 * swept, max(thick, 0.1 * self.size_m))
        corners = middle + flat[:, :1] * right + flat[:, 1:] * down
        level = self.light.on(-camera.rotation[2])
        # The disc of confusion's standard deviation is a quarter of its diameter.
        blurred = 0.25 * APERTURE_M * camera.focal_px / depth
        patch = paint(
            [Shape(corners, level * np.asarray(self.tint))],
            camera,
            float(np.hypot(self.psf_px, blurred)),
        )
        if patch is None:
            return []
        lay(plate, patch)
        return [patch.box]
