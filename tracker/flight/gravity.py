"""Gravity where the ball flies."""

from dataclasses import dataclass
from math import isfinite, radians, sin, sqrt

from calibration.errors import InputError

STANDARD_GRAVITY = 9.80665
"""Standard gravity, m/s² (3rd CGPM, 1901; exact)."""

_AXIS_M = 6378137.0
_FLATTENING = 1.0 / 298.257223563
_EQUATOR = 9.7803253359
_SOMIGLIANA = 0.00193185265241
_SQUARED_ECCENTRICITY = 0.00669437999013
_ROTATION_RATIO = 0.00344978650684
"""Constants of the WGS 84 ellipsoid (NIMA TR8350.2, 2000, tables 3.1, 3.3 and 3.4): semi-major axis
(m), flattening, normal gravity at the equator (m/s²), Somigliana's constant, squared eccentricity,
and centrifugal over gravitational acceleration at the equator."""


@dataclass(frozen=True)
class LocalGravity:
    """Acceleration of free fall and its standard uncertainty, m/s²."""

    mps2: float
    u_mps2: float


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Return the normal gravity of the WGS 84 ellipsoid.

    Somigliana's closed form on the ellipsoid, then the expansion to second order in height
    (NIMA TR8350.2, 2000, equations 4-1 and 4-3).

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, degrees.
    height_m : float
        Height above the ellipsoid, m; height above the sea does as well, as the two differ
        by less than 110 m, which is 0.0003 m/s².

    Returns
    -------
    float
        Gravity in m/s².
    """
    squared = sin(radians(latitude_deg)) ** 2
    ground = _EQUATOR * (1.0 + _SOMIGLIANA * squared) / sqrt(1.0 - _SQUARED_ECCENTRICITY * squared)
    share = height_m / _AXIS_M
    first = 2.0 * (1.0 + _FLATTENING + _ROTATION_RATIO - 2.0 * _FLATTENING * squared)
    return ground * (1.0 - first * share + 3.0 * share * share)


def gravity_from(latitude_deg: float | None = None, height_m: float | None = None) -> LocalGravity:
    """Return gravity from what is known of the place.

    Parameters
    ----------
    latitude_deg : float, optional
        Without it, standard gravity, with an uncertainty that covers every latitude.
    height_m : float, optional
        Height above the sea, m; without it, sea level and an uncertainty of 150 m.

    Returns
    -------
    LocalGravity

    Raises
    ------
    InputError
        When the latitude is beyond 90 degrees or the height is not one at which people live.
    """
    if latitude_deg is not None and not -90.0 <= latitude_deg <= 90.0:
        raise InputError(
            f"a latitude of {latitude_deg:g} degrees does not exist",
            where="latitude_deg",
            remedy="give degrees from -90 to 90",
        )
    if height_m is not None and not (isfinite(height_m) and -500.0 <= height_m <= 6000.0):
        raise InputError(
            f"a height of {height_m:g} m above the sea is out of range",
            where="height_m",
            remedy="give metres from -500 to 6000",
        )
    if latitude_deg is None:
        # Half the span from equator to pole, 0.026 m/s², taken as rectangular.
        return LocalGravity(STANDARD_GRAVITY, 0.015)
    # Real gravity strays from normal gravity by some 30 mGal (1 mGal = 1e-5 m/s²): from memory.
    strays = 3e-4
    if height_m is None:
        return LocalGravity(normal_gravity(latitude_deg), sqrt(strays**2 + (150.0 * 3.086e-6) ** 2))
    return LocalGravity(normal_gravity(latitude_deg, height_m), strays)
