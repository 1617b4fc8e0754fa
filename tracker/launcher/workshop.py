"""Inertia and bearing torque of a wheel from measurements with a stopwatch and a tachometer."""

import math

from tracker.launcher.wheel import Wheel

GRAVITY_MPS2 = 9.80665
"""Standard gravity (CGPM, 1901); that of a place differs by 0.3 % at most, the watch by more."""


def swing_inertia(mass_kg: float, arm_m: float, period_s: float) -> float:
    """Return the inertia about its axle of a wheel that swings about a point off the axle, kg m².

    Parameters
    ----------
    mass_kg : float
        Of the wheel.
    arm_m : float
        Distance from the pivot to the axle.
    period_s : float
        Time of one full small swing, there and back.

    Raises
    ------
    ValueError
        When the period is shorter than that of a point mass at the end of the arm.

    Notes
    -----
    ``I = m g d (T / 2 pi)^2 - m d^2``, the period of a physical pendulum and the parallel-axis
    theorem. Source: OpenStax University Physics, volume 1, sections 15.4 and 10.5.
    """
    inertia = mass_kg * arm_m * (GRAVITY_MPS2 * (period_s / (2.0 * math.pi)) ** 2 - arm_m)
    if inertia <= 0.0:
        raise ValueError("the period is too short for this arm")
    return inertia


def run_down_torque(
    wheel: Wheel, from_radps: float, to_radps: float, seconds: float, motor_nm: float = 0.0
) -> float:
    """Return the bearing torque of a wheel that runs down by itself, N m; 0 where none is left.

    Parameters
    ----------
    wheel : Wheel
        Its own bearing torque is ignored.
    from_radps, to_radps : float
        Speeds at the beginning and the end.
    seconds : float
        Time between them.
    motor_nm : float
        Friction of the motor that turns with the wheel.

    Notes
    -----
    ``I dw/dt = -(bearing + motor + air)``: the mean retarding torque ``I (w1 - w2) / t`` less the
    mean torque of the air, which Simpson's rule takes over the speeds.
    """
    middle = 0.5 * (from_radps + to_radps)
    air = (wheel.air_nm(from_radps) + 4.0 * wheel.air_nm(middle) + wheel.air_nm(to_radps)) / 6.0
    mean = wheel.inertia_kgm2 * (from_radps - to_radps) / seconds
    return max(0.0, float(mean - air - motor_nm))
