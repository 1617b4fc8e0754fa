"""The air: density, viscosity and wind, with their standard uncertainties."""

from dataclasses import dataclass
from math import exp, hypot, isfinite

from calibration.errors import InputError, InputErrors
from tracker.flight.gravity import STANDARD_GRAVITY

GIVEN_TEMPERATURE_U_K, UNKNOWN_TEMPERATURE_U_K = 1.0, 8.0
GIVEN_PRESSURE_U_PA, WEATHER_U_PA, PA_PER_M = 100.0, 1000.0, 12.0
GIVEN_ALTITUDE_U_M, UNKNOWN_ALTITUDE_U_M = 10.0, 150.0
GIVEN_HUMIDITY_U, UNKNOWN_HUMIDITY, UNKNOWN_HUMIDITY_U = 0.05, 0.5, 0.25
GIVEN_WIND_U_MPS, UNKNOWN_WIND_U_MPS = 0.5, 1.0
"""Standard uncertainties of what is given and of what is not: temperature (K); pressure (Pa), that
of the weather, and its change with altitude (Pa/m, ISO 2533:1975); altitude (m); relative humidity,
and its value where none is given; wind (m/s). Common practice, no source."""

ZERO_C_K = 273.15
"""0 degrees C, K (exact)."""

_LIMITS = {
    "temperature_c": (-40.0, 60.0),
    "pressure_hpa": (500.0, 1100.0),
    "altitude_m": (-500.0, 6000.0),
    "humidity_percent": (0.0, 100.0),
    "wind_along_mps": (-40.0, 40.0),
    "wind_across_mps": (-40.0, 40.0),
    "wind_u_mps": (0.0, 20.0),
}


@dataclass(frozen=True)
class Weather:
    """What is stated about the air; ``None`` where nothing is.

    The fields are those of the table ``[air]`` of docs/formats.md. Pressure is the one at the
    field, not the one reduced to sea level that weather reports give.
    """

    temperature_c: float | None = None
    pressure_hpa: float | None = None
    altitude_m: float | None = None
    humidity_percent: float | None = None
    wind_along_mps: float | None = None
    wind_across_mps: float | None = None
    wind_u_mps: float | None = None


@dataclass(frozen=True)
class Air:
    """Density, wind and viscosity of the air.

    Attributes
    ----------
    density_kgpm3, density_u_kgpm3 : float
        Density and its standard uncertainty.
    wind_along_mps, wind_across_mps : float
        Wind at the height of the flight; positive blows downrange and to the left.
    wind_u_mps : float
        Standard uncertainty of either part of the wind.
    viscosity_pas : float
        Dynamic viscosity, Pa s.
    """

    density_kgpm3: float
    density_u_kgpm3: float
    wind_along_mps: float = 0.0
    wind_across_mps: float = 0.0
    wind_u_mps: float = 1.0
    viscosity_pas: float = 1.7893803e-5


def air_from(weather: Weather) -> Air:
    """Return the air with an uncertainty that grows with what is missing.

    Missing values take the standard atmosphere: 15 degrees C at sea level, its pressure, and 50 %
    humidity. The density is that of CIPM-2007.

    Parameters
    ----------
    weather : Weather

    Returns
    -------
    Air

    Raises
    ------
    InputErrors
        One for each number that is out of range, or when both pressure and altitude are given.
    """
    _check(weather)
    (temperature, temperature_u), (pressure, pressure_u), (humidity, humidity_u) = _state(weather)
    warmer, colder = (moist_density(temperature + d, pressure, humidity) for d in (0.5, -0.5))
    denser, thinner = (moist_density(temperature, pressure + d, humidity) for d in (50.0, -50.0))
    wet, dry = (moist_density(temperature, pressure, share) for share in (1.0, 0.0))
    calm = weather.wind_along_mps is None and weather.wind_across_mps is None
    wind_u = weather.wind_u_mps
    if wind_u is None:
        wind_u = UNKNOWN_WIND_U_MPS if calm else GIVEN_WIND_U_MPS
    return Air(
        density_kgpm3=moist_density(temperature, pressure, humidity),
        density_u_kgpm3=hypot(
            (warmer - colder) * temperature_u,
            (denser - thinner) * pressure_u / 100.0,
            (wet - dry) * humidity_u,
        ),
        wind_along_mps=weather.wind_along_mps or 0.0,
        wind_across_mps=weather.wind_across_mps or 0.0,
        wind_u_mps=wind_u,
        viscosity_pas=viscosity(temperature),
    )


def _state(weather: Weather) -> tuple[tuple[float, float], ...]:
    """Return temperature (C), pressure (Pa) and humidity, each with its standard uncertainty."""
    altitude = 0.0 if weather.altitude_m is None else weather.altitude_m
    altitude_u = UNKNOWN_ALTITUDE_U_M if weather.altitude_m is None else GIVEN_ALTITUDE_U_M
    standard_k, standard_pa = standard_atmosphere(altitude)
    temperature = standard_k - ZERO_C_K, UNKNOWN_TEMPERATURE_U_K
    if weather.temperature_c is not None:
        temperature = weather.temperature_c, GIVEN_TEMPERATURE_U_K
    pressure = standard_pa, hypot(WEATHER_U_PA, PA_PER_M * altitude_u)
    if weather.pressure_hpa is not None:
        pressure = 100.0 * weather.pressure_hpa, GIVEN_PRESSURE_U_PA
    humidity = UNKNOWN_HUMIDITY, UNKNOWN_HUMIDITY_U
    if weather.humidity_percent is not None:
        humidity = weather.humidity_percent / 100.0, GIVEN_HUMIDITY_U
    return temperature, pressure, humidity


def moist_density(temperature_c: float, pressure_pa: float, humidity: float) -> float:
    """Return the density of moist air, kg/m³, by the equation CIPM-2007.

    A. Picard, R. S. Davis, M. Gläser and K. Fujii, Metrologia 45, 149 (2008), with a mole
    fraction of carbon dioxide of 0.0004; meant for 600 to 1100 hPa and 15 to 27 degrees C, and
    within 5e-5 of a full equation of state from 0 to 35.

    Parameters
    ----------
    temperature_c : float
    pressure_pa : float
    humidity : float
        Relative humidity from 0 to 1.
    """
    t = temperature_c
    kelvin = t + ZERO_C_K
    saturation = exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin
    )
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * t * t
    vapour = humidity * enhancement * saturation / pressure_pa
    ratio = pressure_pa / kelvin
    compressibility = (
        1.0
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * t
            + 1.1043e-10 * t * t
            + (5.707e-6 - 2.051e-8 * t) * vapour
            + (1.9898e-4 - 2.376e-6 * t) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    dry = pressure_pa * 28.96546e-3 / (compressibility * 8.314472 * kelvin)
    return dry * (1.0 - vapour * (1.0 - 18.01528e-3 / 28.96546e-3))


def standard_atmosphere(altitude_m: float) -> tuple[float, float]:
    """Return temperature (K) and pressure (Pa) of the standard atmosphere, below 11 km.

    ISO 2533:1975, the same as the US Standard Atmosphere 1976 there; the altitude is geometric.
    """
    geopotential = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    kelvin = 288.15 - 0.0065 * geopotential
    exponent = STANDARD_GRAVITY / (287.05287 * 0.0065)
    return kelvin, 101325.0 * (kelvin / 288.15) ** exponent


def viscosity(temperature_c: float) -> float:
    """Return the dynamic viscosity of air, Pa s (Sutherland's law as in ISO 2533:1975)."""
    kelvin = temperature_c + ZERO_C_K
    return float(1.458e-6 * kelvin**1.5 / (kelvin + 110.4))


def _check(weather: Weather) -> None:
    """Raise every fault of the weather at once."""
    faults = []
    for name, (low, high) in _LIMITS.items():
        value = getattr(weather, name)
        if value is not None and not (isfinite(value) and low <= value <= high):
            faults.append(
                InputError(
                    f"{value:g} is out of range",
                    where=f"[air] {name}",
                    remedy=f"give a number from {low:g} to {high:g}, or leave it out",
                )
            )
    if weather.pressure_hpa is not None and weather.altitude_m is not None:
        faults.append(
            InputError(
                "pressure and altitude are both given",
                where="[air] pressure_hpa, altitude_m",
                remedy="keep the pressure if it was read at the field, else the altitude",
            )
        )
    if faults:
        raise InputErrors(faults)
