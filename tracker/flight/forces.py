"""What pushes on a ball in flight."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Forces:
    """What the ball and the place fix of a flight; the rest is fitted.

    Parameters
    ----------
    reach_per_m : float
        ``rho A / (2 m)`` in 1/m: air density times projected area over twice the mass.
        Times the drag coefficient it is the share of its speed that a ball loses per metre.
    gravity_mps2 : float
        Downward acceleration, m/s²; less buoyancy when that counts.
    """

    reach_per_m: float
    gravity_mps2: float = 9.80665
