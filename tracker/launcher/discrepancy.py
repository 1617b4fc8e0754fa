"""What the model leaves out, learned from the shots: alike for like machines.

The true exit speed is the model's times a factor whose logarithm is a Gaussian process over the
machine: M. C. Kennedy and A. O'Hagan, Journal of the Royal Statistical Society B 63, 425 (2001).
Half of its variance is common to all machines of a launcher, most of the rest to those of like rim
speed, squeeze and inertia; a small part belongs to each machine alone.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.flight.ball import Ball
from tracker.launcher.arrays import Array
from tracker.launcher.machine import Machine

SIZES = (0.005, 0.01, 0.02, 0.04, 0.08)
"""Standard deviations of the logarithm that are tried; the shots weigh them."""

SIZE_CHANCES = (0.10, 0.20, 0.32, 0.26, 0.12)
"""Chance of each before any shot, about 2 % in the middle: the shape of the unloading curve, the
shear of the ball and the hardening of its felt change simulated exit speeds by 1 to 4 %."""

COMMON, LIKE, ALONE = 0.5, 0.45, 0.05
"""Shares of the variance: of all machines, of like machines, of each machine (common practice, no
source)."""

SCALES = (0.35, 0.06, 0.6, 0.35)
"""How far machines may differ in each feature and still be alike: log rim speed, squeeze over the
ball's diameter, log of ball over wheel mass, log radius (common practice, no source)."""


@dataclass(frozen=True)
class Features:
    """Where machines stand in the space of the discrepancy, shape (J, 4), and their own scatter.

    Attributes
    ----------
    places : ndarray, shape (J, 4)
        In units of `SCALES`.
    own_u : ndarray, shape (J,)
        Relative standard uncertainty of the exit speed from the numbers of each machine alone.
    """

    places: Array
    own_u: Array

    def of(self, indices: Sequence[int]) -> "Features":
        """Return the machines at some indices."""
        picked = list(indices)
        return Features(self.places[picked], self.own_u[picked])

    def joined(self, other: "Features") -> "Features":
        """Return the machines of both."""
        return Features(
            np.vstack((self.places, other.places)), np.concatenate((self.own_u, other.own_u))
        )

    def covariance(self, size: float) -> Array:
        """Return the covariance of the logarithms of the machines' factors, shape (J, J)."""
        apart = self.places[:, None, :] - self.places[None, :, :]
        like = np.exp(-0.5 * np.sum(apart**2, axis=2))
        alone = np.diag(size**2 * ALONE + self.own_u**2)
        return np.asarray(size**2 * (COMMON + LIKE * like) + alone)


def features_of(
    machines: Sequence[Machine], speeds_radps: Sequence[float], own_u: Sequence[float], ball: Ball
) -> Features:
    """Return where machines stand, from their wheels and the wheels' steady speeds."""
    places = np.zeros((len(machines), len(SCALES)))
    for row, (machine, speed) in enumerate(zip(machines, speeds_radps, strict=True)):
        wheel = machine.wheel
        radius = float(wheel.radius_m)
        rim = max(radius * speed, 1e-3)
        mass = ball.mass_kg * radius**2 / float(wheel.inertia_kgm2)
        squeeze = 1.0 - float(machine.values["grip.gap_mm"]) / 1e3 / ball.diameter_m
        places[row] = (math.log(rim), squeeze, math.log(mass), math.log(radius))
    return Features(places / np.array(SCALES), np.asarray(own_u, float))
