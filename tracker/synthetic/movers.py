"""What else moves on the field: walkers, a dog, birds, spinning wheels."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.plate import Plate
from tracker.synthetic.scene import Light
from tracker.synthetic.sprite import Box, Shape, disc, lay, limb, paint, upright

Array = NDArray[np.float64]
Drawn = list[tuple[Array, Array]]


@dataclass(frozen=True)
class Route:
    """Where something is when: straight stretches between points.

    Parameters
    ----------
    times_s : ndarray, shape (N,)
    points_m : ndarray, shape (N, 3)
        Along, across, up.
    """

    times_s: Array
    points_m: Array

    def at(self, time_s: float) -> Array:
        """Return the place at a time, shape (3,)."""
        return np.array([np.interp(time_s, self.times_s, part) for part in self.points_m.T])

    def velocity(self, time_s: float) -> Array:
        """Return the velocity at a time, shape (3,), m/s."""
        return (self.at(time_s + 0.02) - self.at(time_s - 0.02)) / 0.04


@dataclass(frozen=True)
class Silhouette(ABC):
    """Base of everything that is drawn as flat shapes facing the camera.

    Parameters
    ----------
    route : Route
    light : Light
    psf_px : float
    size : float
        Height, length or wing span, m.
    tint : tuple of float
        Reflectance of the larger part: red, green, blue.
    phase : float
        Where in its step the figure starts, rad.
    """

    route: Route
    light: Light
    psf_px: float
    size: float
    tint: tuple[float, float, float]
    phase: float = 0.0

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return how far off it is, m."""
        return float(camera.in_camera(self.route.at(time_s))[0, 2])

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Draw it on the plate and return the boxes it touched."""
        place = self.route.at(time_s)
        if camera.in_camera(place)[0, 2] < 0.5:
            return []
        toward = camera.position[:2] - place[:2]
        toward = np.append(toward / np.linalg.norm(toward), 0.0)
        sideways = np.cross(toward, [0.0, 0.0, 1.0])
        # Seen from the side when it crosses the view, thin when it comes or goes.
        going = self.route.velocity(time_s) @ sideways
        ahead = sideways if going >= 0.0 else -sideways
        level = self.light.on(toward)
        shapes = [
            Shape(upright(place, ahead, corners), level * np.asarray(colour))
            for corners, colour in self.shapes(time_s)
        ]
        patch = paint(shapes, camera, self.psf_px)
        if patch is None:
            return []
        lay(plate, patch)
        return [patch.box]

    @abstractmethod
    def shapes(self, time_s: float) -> Drawn:
        """Return outlines (forward, up) in m from the figure's foot, with their reflectances."""

    def step(self, time_s: float, stride_m: float) -> float:
        """Return how far through its steps the figure is, rad."""
        steps = np.linalg.norm(np.diff(self.route.points_m, axis=0), axis=1)
        gone = np.interp(time_s, self.route.times_s, np.append(0.0, np.cumsum(steps)))
        return float(self.phase + 2.0 * np.pi * gone / stride_m)


@dataclass(frozen=True)
class Walker(Silhouette):
    """A person who walks, or stands where the route stands still."""

    def shapes(self, time_s: float) -> Drawn:
        """Return legs, arms, trunk and head."""
        high = self.size
        turn = self.step(time_s, 0.85 * high)
        hip, shoulder = 0.52 * high, 0.81 * high
        cloth, skin = np.array(self.tint), np.array([0.38, 0.25, 0.18])
        trousers = np.array([0.045, 0.05, 0.075])
        drawn: Drawn = []
        for side in (0.0, np.pi):
            swing = 0.42 * np.sin(turn + side)
            bend = 0.35 * max(0.0, np.cos(turn + side))
            knee = (0.25 * high * np.sin(swing), hip - 0.25 * high * np.cos(swing))
            foot = (
                knee[0] + 0.26 * high * np.sin(swing - bend),
                max(0.02, knee[1] - 0.26 * high * np.cos(swing - bend)),
            )
            shade = trousers * (1.0 if side else 0.75)
            drawn += [(limb((0.0, hip), knee, 0.085 * high), shade)]
            drawn += [(limb(knee, foot, 0.062 * high), shade)]
            drawn += [(limb(foot, (foot[0] + 0.08 * high, 0.02), 0.045 * high), trousers * 0.5)]
        far, near = (0.32 * np.sin(turn + np.pi), 0.32 * np.sin(turn))
        drawn.append((self._arm(far, shoulder), cloth * 0.7))
        drawn.append((limb((0.0, hip), (0.015 * high, shoulder), 0.155 * high), cloth))
        drawn.append((self._arm(near, shoulder), cloth * 0.9))
        drawn.append((disc((0.02 * high, 0.925 * high), (0.052 * high, 0.07 * high)), skin))
        hair = np.array([0.04, 0.03, 0.025])
        drawn.append((disc((0.01 * high, 0.955 * high), (0.054 * high, 0.047 * high)), hair))
        return drawn

    def _arm(self, swing: float, shoulder: float) -> Array:
        hand = (
            0.34 * self.size * np.sin(swing) + 0.02,
            shoulder - 0.34 * self.size * np.cos(swing),
        )
        return limb((0.0, shoulder - 0.02), hand, 0.055 * self.size)


@dataclass(frozen=True)
class Dog(Silhouette):
    """A dog that gallops."""

    def shapes(self, time_s: float) -> Drawn:
        """Return tail, legs, trunk, head and ear."""
        long = self.size
        turn = self.step(time_s, 1.9 * long)
        bob = 0.06 * long * np.sin(2.0 * turn)
        back = 0.55 * long + bob
        coat = np.array(self.tint)
        drawn: Drawn = []
        for root, offset in ((-0.38, 0.0), (-0.34, 0.6), (0.34, 2.6), (0.38, 3.2)):
            swing = 0.75 * np.sin(turn + offset)
            foot = (root * long + 0.50 * long * np.sin(swing), max(0.02, back - 0.53 * long))
            lift = 0.12 * long * max(0.0, np.cos(turn + offset))
            leg = limb((root * long, back - 0.06 * long), (foot[0], foot[1] + lift), 0.075 * long)
            drawn.append((leg, coat * (0.75 if offset in (0.6, 3.2) else 0.95)))
        tail = (-0.72 * long, back + 0.2 * long + 0.08 * long * np.sin(1.5 * turn))
        drawn.append((limb((-0.45 * long, back + 0.03 * long), tail, 0.05 * long), coat))
        drawn.append((limb((-0.38 * long, back), (0.36 * long, back), 0.24 * long), coat))
        neck = (0.55 * long, back + 0.22 * long)
        drawn.append((limb((0.38 * long, back + 0.03 * long), neck, 0.14 * long), coat))
        drawn.append((limb(neck, (0.72 * long, back + 0.17 * long), 0.12 * long), coat))
        drawn.append(
            (disc((0.53 * long, back + 0.27 * long), (0.05 * long, 0.09 * long)), coat * 0.6)
        )
        return drawn


@dataclass(frozen=True)
class Bird(Silhouette):
    """A bird that flaps; its size is the span of its wings."""

    beats_per_s: float = 4.0

    def shapes(self, time_s: float) -> Drawn:
        """Return body and two wings that rise and fall."""
        span = self.size
        beat = np.sin(self.phase + 2.0 * np.pi * self.beats_per_s * time_s)
        coat = np.array(self.tint)
        drawn: Drawn = [(limb((-0.20 * span, 0.0), (0.20 * span, 0.02 * span), 0.11 * span), coat)]
        drawn.append((disc((0.25 * span, 0.04 * span), (0.05 * span, 0.045 * span)), coat))
        for lift, shade in ((beat, 0.8), (0.85 * beat + 0.1, 1.0)):
            tip = (-0.10 * span, 0.42 * span * lift)
            wing = [(-0.12 * span, 0.0), (0.12 * span, 0.02 * span), (0.05 * span, 0.6 * tip[1])]
            drawn.append((np.array([*wing, tip]), coat * shade))
        return drawn


@dataclass(frozen=True)
class Wheels:
    """Spokes that show that the launcher's wheels turn.

    Parameters
    ----------
    middles_m : ndarray, shape (2, 3)
        Centres of the wheels.
    radius_m : float
    turns_per_s : float
    light : Light
    psf_px : float
    exposure_s : float
    """

    middles_m: Array
    radius_m: float
    turns_per_s: float
    light: Light
    psf_px: float
    exposure_s: float

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return how far off they are; just behind a ball that leaves them."""
        return float(camera.in_camera(self.middles_m[0])[0, 2]) + 0.05

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Draw the spokes, widened by how far they turn during the exposure."""
        shapes = []
        wide = min(2.0 * np.pi * self.turns_per_s * self.exposure_s, 2.0) + 0.35
        # What a spoke passes over for part of the exposure only is that much less dark.
        dark = 0.75 - 0.65 * 0.35 / wide
        facing = self.light.on(np.array([0.0, np.sign(camera.position[1]), 0.0]))
        for middle, sense in zip(self.middles_m, (-1.0, 1.0), strict=True):
            for spoke in range(3):
                start = sense * 2.0 * np.pi * self.turns_per_s * time_s + 2.0 * np.pi * spoke / 3
                sweep = start + np.linspace(-0.5 * wide, 0.5 * wide, 9)
                rim = 0.70 * self.radius_m * np.column_stack([np.cos(sweep), np.sin(sweep)])
                corners = upright(middle, (1.0, 0.0, 0.0), np.vstack([[0.0, 0.0], rim]))
                shapes.append(Shape(corners, facing * dark * np.array([0.6, 0.6, 0.6])))
        patch = paint(shapes, camera, self.psf_px)
        if patch is None:
            return []
        lay(plate, patch)
        return [patch.box]
