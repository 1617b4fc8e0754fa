"""Drag and lift coefficients as functions of speed and spin, each by its source.

A coefficient is called with the speed through the air (m/s) and the spin ratio ``S = R w / u``
and returns a number; ``F = rho C A u**2 / 2``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp

Coefficient = Callable[[float, float], float]


@dataclass(frozen=True)
class FeltLift:
    """Lift of a spinning tennis ball, ``1 / (2 + 1 / S)``.

    The rounded form in use after A. Štěpánek, Am. J. Phys. 56, 138 (1988); the reference is from
    memory.
    """

    def __call__(self, speed_mps: float, spin_ratio: float) -> float:
        """Return the lift coefficient."""
        return float(spin_ratio / (2.0 * spin_ratio + 1.0))


@dataclass(frozen=True)
class SeamLift:
    """Lift of a spinning baseball, ``0.62 S**0.7``.

    University course notes after A. M. Nathan, Am. J. Phys. 76, 119 (2008), who found that it
    hardly depends on the speed at one spin ratio.
    """

    def __call__(self, speed_mps: float, spin_ratio: float) -> float:
        """Return the lift coefficient."""
        return float(0.62 * spin_ratio**0.7)


@dataclass(frozen=True)
class SeamDrag:
    """Drag of a baseball over speed, which falls to less than half about 35 m/s.

    ``B / m = 0.0039 + 0.0058 / (1 + exp((v - 35) / 5))`` per metre, N. J. Giordano and
    H. Nakanishi, Computational Physics (2nd ed., 2006), section 2.3, from memory; here divided
    by ``rho A / (2 m)`` of a ball of 145 g and 73.8 mm in air of 1.2 kg/m³.
    """

    def __call__(self, speed_mps: float, spin_ratio: float) -> float:
        """Return the drag coefficient."""
        return (0.0039 + 0.0058 / (1.0 + exp((speed_mps - 35.0) / 5.0))) / 0.017701


@dataclass(frozen=True)
class SmoothSphereDrag:
    """Drag of a smooth sphere below the crisis at a Reynolds number of about 2e5.

    A. Haider and O. Levenspiel, Powder Technol. 58, 63 (1989), for a sphere.

    Attributes
    ----------
    reynolds_per_mps : float
        Reynolds number over speed, s/m: ``rho d / mu``.
    """

    reynolds_per_mps: float

    def __call__(self, speed_mps: float, spin_ratio: float) -> float:
        """Return the drag coefficient; for air at rest that of a Reynolds number of 1e-6."""
        reynolds = max(self.reynolds_per_mps * speed_mps, 1e-6)
        creeping = 24.0 / reynolds * (1.0 + 0.1806 * reynolds**0.6459)
        return float(creeping + 0.4251 / (1.0 + 6880.95 / reynolds))
