"""A wheel: its inertia from its shape, the torque of its bearing and of the air."""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Value

SHAPES = {"disc": 0.5, "spoked": 0.75, "ring": 1.0}
"""Inertia over mass times radius squared: a full disc, a spoked wheel with half of its mass at
the rim (common practice, no source), a thin ring."""

STEEL_KGPM3 = 7850.0
"""Density of steel; wheels are seldom of anything heavier (handbook value, from memory)."""

AIR_KGPM3 = 1.2
"""Density of air indoors, kg/m³ (20 °C, 1013 hPa)."""

AIR_VISCOSITY_PAS = 1.81e-5
"""Dynamic viscosity of air at 20 °C, Pa s (Sutherland's formula)."""


@dataclass(frozen=True)
class Wheel:
    """A wheel with everything that turns with it.

    Attributes
    ----------
    radius_m : float
    inertia_kgm2 : float
        About its axle.
    bearing_nm : float
        Torque of the bearing, at any speed.
    windage : float
        Drag of the air over that of a smooth thin disc of this radius.
    """

    radius_m: Value
    inertia_kgm2: Value
    bearing_nm: Value
    windage: Value

    def loss_nm(
        self,
        speed_radps: Value,
        density_kgpm3: float = AIR_KGPM3,
        viscosity_pas: float = AIR_VISCOSITY_PAS,
    ) -> Value:
        """Return the torque of bearing and air at a speed, N m."""
        return self.bearing_nm + self.air_nm(speed_radps, density_kgpm3, viscosity_pas)

    def air_nm(
        self,
        speed_radps: Value,
        density_kgpm3: float = AIR_KGPM3,
        viscosity_pas: float = AIR_VISCOSITY_PAS,
    ) -> Value:
        """Return the torque of the air at a speed, N m."""
        return self.windage * disc_drag_nm(self.radius_m, speed_radps, density_kgpm3, viscosity_pas)

    def energy_j(self, speed_radps: Value) -> Value:
        """Return the energy stored at a speed, J."""
        return 0.5 * self.inertia_kgm2 * speed_radps**2


def disc_drag_nm(
    radius_m: Value,
    speed_radps: Value,
    density_kgpm3: float = AIR_KGPM3,
    viscosity_pas: float = AIR_VISCOSITY_PAS,
) -> Value:
    """Return the torque of the air on both sides of a smooth thin disc, N m.

    ``C rho w^2 r^5 / 2`` with ``C = 3.87 Re^-1/2`` in laminar and ``0.146 Re^-1/5`` in turbulent
    flow, ``Re = w r^2 / nu``; the greater of the two, which changes over near Re 5e4.

    Source: T. von Kármán, Z. angew. Math. Mech. 1, 233 (1921); H. Schlichting, Boundary-Layer
    Theory (1979), chapters 5 and 21 (from memory).
    """
    reynolds = density_kgpm3 * np.abs(speed_radps) * radius_m**2 / viscosity_pas
    # At standstill the factor means nothing; one of the smallest flow keeps it finite.
    reynolds = np.maximum(reynolds, 1e-6)
    moment = np.maximum(3.87 / np.sqrt(reynolds), 0.146 / reynolds**0.2)
    drag = 0.5 * moment * density_kgpm3 * speed_radps * np.abs(speed_radps) * radius_m**5
    return np.asarray(drag)[()]


def shape_inertia(
    mass_kg: Value, radius_m: Value, kind: str, inner_radius_m: Value | None = None
) -> Value:
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
