"""The squeeze of the ball in the gap: geometry, and force while loaded and unloaded.

While the gap narrows the force grows in proportion to the squeeze; while it widens again the
force follows a softer curve, and the area between the curves turns into heat (hysteresis). The
softer curve also lessens the friction on the way out. Loading and unloading curves of tennis balls
have this shape: R. Cross, American Journal of Physics 67, 222 (1999) (from memory).
"""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array, Value

GREATEST_LOSS = 0.98
"""Share of the squeeze's energy lost beyond which the unloading curve is not made steeper: the
exponent stays below 100, so that the integration resolves it."""


@dataclass(frozen=True)
class Squeeze:
    """A ball between two rims, or between a rim and a plate.

    Attributes
    ----------
    wheel_radius_m, ball_radius_m, gap_m : Value
    stiffness_npm : Value
        Normal force over squeeze of both sides together, N/m.
    loss : Value
        Share of the energy of the squeeze that turns into heat.
    plate : bool
        The second side is flat.
    """

    wheel_radius_m: Value
    ball_radius_m: float
    gap_m: Value
    stiffness_npm: Value
    loss: Value
    plate: bool

    @property
    def half_length_m(self) -> Value:
        """Way of the ball from first touch to the narrowest place."""
        touch = self.wheel_radius_m + self.ball_radius_m
        return np.sqrt(np.maximum(touch**2 - self._axis_m**2, 0.0))

    @property
    def greatest_m(self) -> Value:
        """Greatest squeeze, both sides together."""
        return 2.0 * self.ball_radius_m - self.gap_m

    @property
    def peak_n(self) -> Value:
        """Greatest normal force."""
        return self.stiffness_npm * self.greatest_m

    @property
    def _axis_m(self) -> Value:
        """Distance of the wheel's axle from the way of the ball's centre at the touch."""
        if self.plate:
            return self.wheel_radius_m + self.gap_m - self.ball_radius_m
        return self.wheel_radius_m + self.gap_m / 2.0

    def at(self, x: Array) -> "Place":
        """Return geometry and force where the ball's centre is ``x`` (m) past the narrowest place.

        Notes
        -----
        Two circles of radius r whose centres are ``2 r + g`` apart: the ball keeps the line
        between them and is squeezed by ``2 (r + R - sqrt(x^2 + (r + g/2)^2))``. Against a plate
        it settles where both sides press alike: ``(a^2 - x^2) / (2 r + g)`` with half the length
        of touch ``a``. The force along the way is ``-N`` times the slope of the squeeze, so that
        its work is the energy of the squeeze.
        """
        touch = self.wheel_radius_m + self.ball_radius_m
        if self.plate:
            span = 2.0 * self.wheel_radius_m + self.gap_m
            squeeze = (self.half_length_m**2 - x**2) / span
            slope = -2.0 * x / span
            distance = touch - squeeze / 2.0
            cosines = ((self._axis_m + squeeze / 2.0) / distance, np.ones_like(x))
        else:
            distance = np.sqrt(x**2 + self._axis_m**2)
            squeeze = 2.0 * (touch - distance)
            slope = -2.0 * x / distance
            cosine = self._axis_m / distance
            cosines = (cosine, cosine)
        share = np.clip(squeeze / self.greatest_m, 0.0, 1.0)
        exponent = 2.0 / (1.0 - np.minimum(self.loss, GREATEST_LOSS)) - 1.0
        normal = self.peak_n * np.where(x < 0.0, share, share**exponent)
        arm = self.ball_radius_m - np.maximum(squeeze, 0.0) / 2.0
        return Place(normal, -normal * slope, cosines, arm)


@dataclass(frozen=True)
class Place:
    """The squeezed ball at one place of its way.

    Attributes
    ----------
    normal_n : ndarray
        Normal force of each side.
    forward_n : ndarray
        Its part along the way, both sides together: backward before the narrowest place.
    cosines : tuple of two ndarray
        Of the angle between the way and the tangent at either contact.
    arm_m : ndarray
        From the ball's centre to either contact.
    """

    normal_n: Array
    forward_n: Array
    cosines: tuple[Array, Array]
    arm_m: Array
