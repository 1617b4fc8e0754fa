"""A brushed motor with permanent magnets: its line of torque against speed."""

import math
from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Value

RPM = 2.0 * math.pi / 60.0
"""Radians per second in one revolution per minute."""


@dataclass(frozen=True)
class Motor:
    """A motor by the four numbers of its torque-speed line.

    Attributes
    ----------
    supply_v : Value
        Voltage at which its no-load speed holds, V.
    resistance_ohm : Value
        Winding and brushes.
    constant_vs : Value
        Back voltage per angular speed (V s/rad), which is also torque per current (N m/A).
    no_load_current_a : Value
        Current that its own friction takes.

    Notes
    -----
    ``T = K (I - I0)``, ``U = R I + K w``. Source: MIT 2.007 notes on DC motors; J. R.
    Hendershot and T. J. E. Miller, Design of Brushless Permanent-Magnet Motors (2010),
    chapter 1 (from memory).
    """

    supply_v: Value
    resistance_ohm: Value
    constant_vs: Value
    no_load_current_a: Value

    @property
    def no_load_radps(self) -> Value:
        """Speed without load at the supply voltage, rad/s."""
        return (self.supply_v - self.no_load_current_a * self.resistance_ohm) / self.constant_vs

    @property
    def stall_current_a(self) -> Value:
        """Current at standstill, A."""
        return self.supply_v / self.resistance_ohm

    @property
    def stall_torque_nm(self) -> Value:
        """Torque at standstill, N m."""
        return self.constant_vs * (self.stall_current_a - self.no_load_current_a)

    def current_a(self, speed_radps: Value, voltage_v: Value) -> Value:
        """Return the current at a speed and a (mean) voltage, A."""
        return (voltage_v - self.constant_vs * speed_radps) / self.resistance_ohm


def motor_from_currents(
    supply_v: Value, no_load_radps: Value, no_load_current_a: Value, stall_current_a: Value
) -> Motor:
    """Return a motor from a bench: no-load speed and current, stall current.

    Source: ``R = U / Is``, ``K = (U - I0 R) / w0``, as in `Motor`.
    """
    resistance = supply_v / stall_current_a
    constant = (supply_v - no_load_current_a * resistance) / no_load_radps
    return Motor(supply_v, resistance, constant, no_load_current_a)


def motor_from_torque(
    supply_v: Value, no_load_radps: Value, no_load_current_a: Value, stall_torque_nm: Value
) -> Motor:
    """Return a motor from its label: no-load speed and current, stall torque.

    The stall current follows from ``Ts w0 = U (Is - I0)^2 / Is``, the product of
    ``Ts = K (Is - I0)`` and ``w0 = (U - I0 R) / K``.
    """
    power = stall_torque_nm * no_load_radps / supply_v
    half = no_load_current_a + power / 2.0
    stall_current = half + np.sqrt(half**2 - no_load_current_a**2)
    return motor_from_currents(supply_v, no_load_radps, no_load_current_a, stall_current)


def stall_torque_from_power(power_w: Value, no_load_radps: Value) -> Value:
    """Return the stall torque of a motor whose greatest power is known: ``4 P / w0``."""
    return 4.0 * power_w / no_load_radps
