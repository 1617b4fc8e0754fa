"""What the ball, the air and the place contribute to the forces of a flight."""

from dataclasses import dataclass

import numpy as np

from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.gravity import STANDARD_GRAVITY

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
