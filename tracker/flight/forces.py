"""What pushes on a ball in flight.

`Forces` is what a fit needs: two numbers, the rest being its parameters. Gravity, drag and
Magnus lift as objects of their own are for prediction, where coefficients follow speed and
spin, the spin fades and the wind slackens near the ground: each is called with time, position
and velocity, and returns an acceleration, so that a further force is a further object.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp, inf, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import InputError
from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.coefficients import Coefficient
from tracker.flight.gravity import STANDARD_GRAVITY

Array = NDArray[np.float64]
Force = Callable[[float, Array, Array], Array]


DRAG_AT_MPS = 20.0
"""Speed through the air at which a ball's drag coefficient is stated."""


@dataclass(frozen=True)
class Forces:
    """What the ball and the place fix of a flight; the rest is fitted.

    Parameters
    ----------
    reach_per_m : float
        ``rho A / (2 m)`` in 1/m: air density times projected area over twice the mass.
        Times the drag coefficient it is the share of its speed that a ball loses per metre.
    gravity_mps2 : float
        Downward acceleration, m/s²; less buoyancy and added mass where they count.
    drag_curve : tuple of two tuples, optional
        Speeds through the air, m/s, and there the drag coefficient over that at `DRAG_AT_MPS`;
        without it the coefficient is the same at every speed.
    """

    reach_per_m: float
    gravity_mps2: float = STANDARD_GRAVITY
    drag_curve: tuple[tuple[float, ...], tuple[float, ...]] | None = None


def forces_on(ball: Ball, air: Air, gravity_mps2: float = STANDARD_GRAVITY) -> Forces:
    """Return the forces on a ball in this air, over all the mass that they must move.

    A tennis ball is lighter by 0.33 % in air (Archimedes), and half the air that it displaces
    must be accelerated with it, another 0.16 %: the added mass of a sphere (H. Lamb, Hydrodynamics,
    art. 92; it holds at all Reynolds numbers: J. Magnaudet and I. Eames, Annu. Rev. Fluid Mech. 32,
    659, 2000; from memory). Gravity is the rule that a flight's size is read from, so both are seen
    in its carry.
    """
    displaced = air.density_kgpm3 / ball.density_kgpm3
    moved = 1.0 + 0.5 * displaced
    return Forces(
        reach_per_m=air.density_kgpm3 * ball.area_m2 / (2.0 * ball.mass_kg) / moved,
        gravity_mps2=gravity_mps2 * (1.0 - displaced) / moved,
        drag_curve=_curve(ball, air),
    )


def _curve(ball: Ball, air: Air) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Return the ball's published drag over speed, as shares of that at `DRAG_AT_MPS`."""
    if ball.drag_curve is None:
        return None
    coefficient = ball.drag_curve(ball.reynolds(1.0, air.density_kgpm3, air.viscosity_pas))
    stated = coefficient(DRAG_AT_MPS, 0.0)
    # Below 2 m/s drag moves nothing, and the law of creeping flow would run to infinity.
    speeds = tuple(float(speed) for speed in np.arange(2.0, 61.0))
    return speeds, tuple(coefficient(speed, 0.0) / stated for speed in speeds)


@dataclass(frozen=True)
class Wind:
    """A steady level wind, the same at every height or slackening towards the ground.

    With a roughness length the wind follows the logarithmic law of a neutral surface layer,
    ``ln(z / z0) / ln(h / z0)``, where ``h`` is the height at which it was measured: no wind at
    ``z0`` and below. Open flat terrain with grass has ``z0`` of 0.03 m, low crops 0.1 m
    (WMO-No. 8, Guide to Instruments, part I, chapter 5, annex).

    Attributes
    ----------
    along_mps, across_mps : float
        Wind at the height `measured_at_m`, positive downrange and to the left.
    roughness_m : float, optional
        Roughness length; without it the wind is the same at every height.
    measured_at_m : float
    """

    along_mps: float = 0.0
    across_mps: float = 0.0
    roughness_m: float | None = None
    measured_at_m: float = 2.0

    def __post_init__(self) -> None:
        if self.roughness_m is not None and not 0.0 < self.roughness_m < self.measured_at_m:
            raise InputError(
                f"a roughness length of {self.roughness_m:g} m does not lie between the ground "
                f"and the height of the wind, {self.measured_at_m:g} m",
                where="roughness_m",
                remedy="give 0.03 for grass, and the height at which the wind was measured",
            )

    def at(self, up_m: float) -> Array:
        """Return the wind, shape (3,), at a height above the ground, m."""
        share = 1.0
        if self.roughness_m is not None:
            above = max(up_m, self.roughness_m) / self.roughness_m
            share = log(above) / log(self.measured_at_m / self.roughness_m)
        return np.array([share * self.along_mps, share * self.across_mps, 0.0])


@dataclass(frozen=True)
class Spin:
    """A spin about an axis that stays, fading exponentially.

    The time constant of a baseball or golf ball is 5 to 30 s (A. M. Nathan, The effect of
    spin-down on the flight of a baseball, 2008), long beside a flight.

    Attributes
    ----------
    radps : array_like, shape (3,)
        Axis times rate at time zero, right-handed, in ground axes: ``(0, -w, 0)`` is back-spin
        of a shot down the line and lifts it.
    fades_in_s : float
        Time in which the rate falls to 1/e.
    """

    radps: ArrayLike
    fades_in_s: float = inf

    def at(self, time_s: float) -> Array:
        """Return axis times rate, shape (3,), at a time."""
        return np.asarray(self.radps, float) * exp(-time_s / self.fades_in_s)


STILL = Wind()
NO_SPIN = Spin((0.0, 0.0, 0.0))


@dataclass(frozen=True)
class Weight:
    """Gravity less buoyancy, m/s², straight down."""

    mps2: float = STANDARD_GRAVITY

    def __call__(self, time_s: float, position: Array, velocity: Array) -> Array:
        """Return the acceleration, shape (3,)."""
        return np.array([0.0, 0.0, -self.mps2])


@dataclass(frozen=True)
class Flow:
    """How the air meets the ball, shared by drag and lift.

    Attributes
    ----------
    reach_per_m : float
        ``rho A / (2 m)``, 1/m.
    radius_m : float
    spin : Spin
    wind : Wind
    """

    reach_per_m: float
    radius_m: float
    spin: Spin = field(default=NO_SPIN)
    wind: Wind = field(default=STILL)

    def meets(self, time_s: float, position: Array, velocity: Array) -> tuple[Array, float, Array]:
        """Return velocity through the air, its magnitude, and the spin, axis times rate."""
        through_air = velocity - self.wind.at(float(position[2]))
        return through_air, float(np.sqrt(through_air @ through_air)), self.spin.at(time_s)


@dataclass(frozen=True)
class Drag:
    """Drag against the motion through the air, ``-k C |u| u``."""

    flow: Flow
    coefficient: Coefficient

    def __call__(self, time_s: float, position: Array, velocity: Array) -> Array:
        """Return the acceleration, shape (3,)."""
        through_air, speed, spin = self.flow.meets(time_s, position, velocity)
        if speed == 0.0:
            return np.zeros(3)
        ratio = self.flow.radius_m * float(np.sqrt(spin @ spin)) / speed
        strength = self.flow.reach_per_m * self.coefficient(speed, ratio) * speed
        return -strength * through_air


@dataclass(frozen=True)
class Lift:
    """Magnus lift ``k C |u| (n x u)``, ``n`` being the axis of the spin.

    Only the part of the spin across the flight lifts (R. D. Mehta, Annu. Rev. Fluid Mech. 17,
    151, 1985); the coefficient is taken at the full spin ratio.
    """

    flow: Flow
    coefficient: Coefficient

    def __call__(self, time_s: float, position: Array, velocity: Array) -> Array:
        """Return the acceleration, shape (3,)."""
        through_air, speed, spin = self.flow.meets(time_s, position, velocity)
        rate = float(np.sqrt(spin @ spin))
        if speed == 0.0 or rate == 0.0:
            return np.zeros(3)
        strength = self.flow.reach_per_m * speed
        strength *= self.coefficient(speed, self.flow.radius_m * rate / speed)
        x, y, z = spin / rate
        u, v, w = through_air
        return strength * np.array([y * w - z * v, z * u - x * w, x * v - y * u])
