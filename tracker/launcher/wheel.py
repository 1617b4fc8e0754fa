"""A wheel: its inertia from its shape or from a stopwatch, and what holds it back."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.components import Estimate
from tracker.statistics.line import fit_line
from tracker.statistics.means import sample_of
from tracker.statistics.propagation import combined

SHAPES = {"disc": 0.5, "spoked": 0.75, "ring": 1.0}
"""Inertia over mass times radius squared: a full disc, a spoked wheel with half of its mass at
the rim (common practice, no source), a thin ring."""

STEEL_KGPM3 = 7850.0
"""Density of steel, above which no wheel of the trade is."""

AIR_KGPM3 = 1.2
AIR_VISCOSITY_PAS = 1.81e-5


@dataclass(frozen=True)
class Wheel:
    """A wheel as the ball and the motor feel it.

    Attributes
    ----------
    radius_m : float
    inertia_kgm2 : float
        About its axle, with everything that turns with it.
    bearing_nm : float
        Torque of the bearing, at any speed.
    windage : float
        Drag of the air over that of a smooth thin disc of this radius.
    """

    radius_m: float
    inertia_kgm2: float
    bearing_nm: float
    windage: float

    def loss_nm(
        self,
        speed_radps: float,
        density_kgpm3: float = AIR_KGPM3,
        viscosity_pas: float = AIR_VISCOSITY_PAS,
    ) -> float:
        """Return the torque that bearing and air take at a speed, N m."""
        return self.bearing_nm + self.windage * disc_drag_nm(
            self.radius_m, speed_radps, density_kgpm3, viscosity_pas
        )

    def energy_j(self, speed_radps: float) -> float:
        """Return the energy stored at a speed, J."""
        return 0.5 * self.inertia_kgm2 * speed_radps**2


def disc_drag_nm(
    radius_m: float,
    speed_radps: float,
    density_kgpm3: float = AIR_KGPM3,
    viscosity_pas: float = AIR_VISCOSITY_PAS,
) -> float:
    """Return the torque of the air on both sides of a smooth thin disc, N m.

    ``C rho w^2 r^5 / 2`` with ``C = 3.87 Re^-1/2`` in laminar and ``0.146 Re^-1/5`` in turbulent
    flow, ``Re = w r^2 / nu``; the greater of the two, which changes over near Re 5e4.

    Source: T. von Kármán, Z. angew. Math. Mech. 1, 233 (1921); H. Schlichting, Boundary-Layer
    Theory (1979), chapters 5 and 21 (from memory).
    """
    if speed_radps == 0.0:
        return 0.0
    reynolds = density_kgpm3 * abs(speed_radps) * radius_m**2 / viscosity_pas
    moment = max(3.87 / math.sqrt(reynolds), 0.146 / reynolds**0.2)
    return 0.5 * moment * density_kgpm3 * speed_radps * abs(speed_radps) * radius_m**5


def shape_inertia(
    mass_kg: float, radius_m: float, kind: str, inner_radius_m: float | None = None
) -> float:
    """Return the inertia of a wheel from its shape, kg m².

    Parameters
    ----------
    mass_kg, radius_m : float
    kind : str
        A key of `SHAPES`.
    inner_radius_m : float, optional
        Of a ring that is not thin: ``m (r1^2 + r2^2) / 2``.

    Notes
    -----
    Source: OpenStax University Physics, volume 1, section 10.5.
    """
    if kind == "ring" and inner_radius_m is not None:
        return 0.5 * mass_kg * (radius_m**2 + inner_radius_m**2)
    return SHAPES[kind] * mass_kg * radius_m**2


def inertia_from_pendulum(
    mass: Estimate, arm: Estimate, swings_s: ArrayLike, swings: int, gravity_mps2: float = 9.80665
) -> Estimate:
    """Return the inertia about its axle of a wheel that swung from a nail at its rim.

    Parameters
    ----------
    mass : Estimate
        Of the wheel, kg.
    arm : Estimate
        Distance from the nail to the axle, m.
    swings_s : array_like, shape (N,)
        Stopwatch readings, each over `swings` whole periods of small swings, s. Two or more
        readings show how well they repeat; with one, 0.2 s is taken for the hand on the watch
        (common practice, no source).
    swings : int
        Periods in each reading.
    gravity_mps2 : float

    Notes
    -----
    ``I = m g d (T / 2 pi)^2 - m d^2``: a physical pendulum less Steiner's share. Source:
    OpenStax University Physics, volume 1, sections 15.4 and 10.5. Uncertainty to first order
    (GUM equation 10).
    """
    sample = sample_of(swings_s)
    hand = 0.2 / swings
    period = sample.mean / swings
    period_u, period_dof = (
        (sample.u / swings, float(sample.dof))
        if sample.scatters
        else (
            hand,
            math.inf,
        )
    )
    turn = (period / (2.0 * math.pi)) ** 2
    m, d = mass.value, arm.value
    inertia = m * gravity_mps2 * d * turn - m * d * d
    if inertia <= 0.0:
        raise ValueError("these swings are too quick for a wheel that hangs by this arm")
    return combined(
        inertia,
        (
            (inertia / m * mass.u, mass.dof),
            ((m * gravity_mps2 * turn - 2.0 * m * d) * arm.u, arm.dof),
            (2.0 * m * gravity_mps2 * d * turn / period * period_u, period_dof),
        ),
    )


def inertia_from_spin_down(torque: Estimate, times_s: ArrayLike, speeds_rpm: ArrayLike) -> Estimate:
    """Return the inertia of a wheel that a known torque slows evenly, kg m².

    Parameters
    ----------
    torque : Estimate
        A cord and weight on the rim or a spring balance: braking torque, N m, bearing included.
    times_s, speeds_rpm : array_like, shape (N,)
        Three readings or more of a watch and a tachometer.

    Notes
    -----
    ``T = I dw/dt``; the slope and its uncertainty from the least-squares line (GUM annex H.3).
    """
    line = fit_line(times_s, np.asarray(speeds_rpm, float) * (2.0 * math.pi / 60.0))
    slope = -line.slope.value
    if slope <= 0.0:
        raise ValueError("the wheel does not slow down in these readings")
    inertia = torque.value / slope
    return combined(
        inertia,
        (
            (torque.u / slope, torque.dof),
            (inertia / slope * line.slope.u, line.slope.dof),
        ),
    )


def bearing_from_spin_down(
    inertia: Estimate, times_s: ArrayLike, speeds_rpm: ArrayLike
) -> Estimate:
    """Return the torque that slows a freely running wheel of known inertia, N m.

    Take slow speeds, where the air counts for little.
    """
    line = fit_line(times_s, np.asarray(speeds_rpm, float) * (2.0 * math.pi / 60.0))
    return combined(
        -inertia.value * line.slope.value,
        (
            (line.slope.value * inertia.u, inertia.dof),
            (inertia.value * line.slope.u, line.slope.dof),
        ),
    )
