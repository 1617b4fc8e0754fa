"""The battery under the load of all motors."""

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.launcher.arrays import Value
from tracker.launcher.motor import Motor


@dataclass(frozen=True)
class Battery:
    """A source of voltage behind a resistance.

    Attributes
    ----------
    voltage_v : float
        Without load, V.
    resistance_ohm : float
        Inside, with its leads.
    """

    voltage_v: Value
    resistance_ohm: Value


@dataclass(frozen=True)
class Circuit:
    """Voltage and currents of motors on one battery.

    Attributes
    ----------
    terminal_v : float
        Voltage at the battery's terminals.
    currents_a : tuple of float
        Mean current of each motor.
    battery_a : float
        Mean current of the battery.
    """

    terminal_v: Value
    currents_a: tuple[Value, ...]
    battery_a: Value

    def power_w(self, battery: Battery) -> Value:
        """Return the power that leaves the cells, losses inside the battery included."""
        return battery.voltage_v * self.battery_a


def circuit(battery: Battery, motors: Sequence[tuple[Motor, Value, Value]]) -> Circuit:
    """Return voltage and currents of motors at given speeds.

    Parameters
    ----------
    battery : Battery
    motors : sequence of (Motor, duty, speed)
        Duty between 0 and 1; speed of the shaft in rad/s.

    Notes
    -----
    A motor's winding smooths the pulses: it sees the duty's share of the terminal voltage, and
    draws the duty's share of its current from the battery (mean values of a buck converter,
    R. W. Erickson and D. Maksimovic, Fundamentals of Power Electronics (2001), chapter 2). The
    battery is loaded by all motors together, which gives one linear equation.
    """
    load = sum(duty**2 / motor.resistance_ohm for motor, duty, _ in motors)
    back = sum(
        duty * motor.constant_vs * speed / motor.resistance_ohm for motor, duty, speed in motors
    )
    terminal = (battery.voltage_v + battery.resistance_ohm * back) / (
        1.0 + battery.resistance_ohm * load
    )
    currents = tuple(motor.current_a(speed, duty * terminal) for motor, duty, speed in motors)
    drawn = sum(duty * current for (_, duty, _), current in zip(motors, currents, strict=True))
    return Circuit(terminal, currents, drawn)
