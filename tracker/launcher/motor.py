"""A brushed motor with permanent magnets: its line of torque against speed."""

import math
from dataclasses import dataclass

RPM = 2.0 * math.pi / 60.0
"""Radians per second in one revolution per minute."""


@dataclass(frozen=True)
class Motor:
    """A motor by the four numbers that its line hangs on.

    Attributes
    ----------
    supply_v : float
        Voltage at which its no-load speed holds, V.
    resistance_ohm : float
        Winding and brushes.
    constant_vs : float
        Back voltage per angular speed (V s/rad), which is also torque per current (N m/A).
    no_load_current_a : float
        Current that its own friction takes.

    Notes
    -----
    ``T = K (I - I0)``, ``U = R I + K w``. Source: MIT 2.007 notes on DC motors; J. R.
    Hendershot and T. J. E. Miller, Design of Brushless Permanent-Magnet Motors (2010),
    chapter 1 (from memory).
    """

    supply_v: float
    resistance_ohm: float
    constant_vs: float
    no_load_current_a: float

    @property
    def no_load_radps(self) -> float:
        """Speed without load at the supply voltage, rad/s."""
        return (self.supply_v - self.no_load_current_a * self.resistance_ohm) / self.constant_vs

    @property
    def stall_current_a(self) -> float:
        """Current at standstill, A."""
        return self.supply_v / self.resistance_ohm

    @property
    def stall_torque_nm(self) -> float:
        """Torque at standstill, N m."""
        return self.constant_vs * (self.stall_current_a - self.no_load_current_a)

    @property
    def greatest_power_w(self) -> float:
        """Greatest mechanical power, at half the no-load speed, W."""
        return self.stall_torque_nm * self.no_load_radps / 4.0

    @property
    def greatest_efficiency(self) -> float:
        """Greatest share of the electric power that reaches the shaft."""
        return (1.0 - math.sqrt(self.no_load_current_a / self.stall_current_a)) ** 2

    def torque_nm(self, speed_radps: float) -> float:
        """Return the torque at a speed on the supply voltage, N m."""
        return self.stall_torque_nm * (1.0 - speed_radps / self.no_load_radps)

    def current_a(self, speed_radps: float, voltage_v: float) -> float:
        """Return the current at a speed and a (mean) voltage, A."""
        return (voltage_v - self.constant_vs * speed_radps) / self.resistance_ohm


def motor_from_currents(
    supply_v: float, no_load_radps: float, no_load_current_a: float, stall_current_a: float
) -> Motor:
    """Return a motor from a bench: no-load speed and current, stall current.

    Source: ``R = U / Is``, ``K = (U - I0 R) / w0``, as in `Motor`.
    """
    resistance = supply_v / stall_current_a
    constant = (supply_v - no_load_current_a * resistance) / no_load_radps
    return Motor(supply_v, resistance, constant, no_load_current_a)


def motor_from_torque(
    supply_v: float, no_load_radps: float, no_load_current_a: float, stall_torque_nm: float
) -> Motor:
    """Return a motor from its label: no-load speed and current, stall torque.

    The stall current follows from ``Ts w0 = U (Is - I0)^2 / Is``, the product of
    ``Ts = K (Is - I0)`` and ``w0 = (U - I0 R) / K``.
    """
    power = stall_torque_nm * no_load_radps / supply_v
    half = no_load_current_a + power / 2.0
    stall_current = half + math.sqrt(half**2 - no_load_current_a**2)
    return motor_from_currents(supply_v, no_load_radps, no_load_current_a, stall_current)


def stall_torque_from_power(power_w: float, no_load_radps: float) -> float:
    """Return the stall torque of a motor whose greatest power is known: ``4 P / w0``."""
    return 4.0 * power_w / no_load_radps
