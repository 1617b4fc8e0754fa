"""The wheels on their motors: steady speed, spin-up, and recovery after a shot."""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array, Value
from tracker.launcher.battery import Battery, Circuit, circuit
from tracker.launcher.machine import Machine
from tracker.launcher.motor import RPM, Motor
from tracker.launcher.wheel import AIR_KGPM3, AIR_VISCOSITY_PAS

SPUN_UP = 0.95
"""Share of the steady speed at which wheels count as spun up (common practice, no source)."""

RECOVERED = 0.99
"""Share of the steady speed at which they are ready for the next shot: 1 % of the exit speed
(common practice, no source)."""

NEWTON_STEPS = 14
"""Newton's steps to the steady speed; motors disturb each other through the battery by about a
tenth, so each brings a digit."""


@dataclass(frozen=True)
class AirAround:
    """The air in which the wheels turn."""

    density_kgpm3: float = AIR_KGPM3
    viscosity_pas: float = AIR_VISCOSITY_PAS


STILL_ROOM = AirAround()


@dataclass(frozen=True)
class Running:
    """The wheels at their steady speed.

    Attributes
    ----------
    speeds_radps : tuple of ndarray
        Of each driven wheel; zero where the motor cannot start it.
    circuit : Circuit or None
        Voltage and currents meanwhile; None where no motor is known.
    """

    speeds_radps: tuple[Array, ...]
    circuit: Circuit | None

    @property
    def starts(self) -> np.ndarray:
        """Where every wheel turns."""
        found: np.ndarray = np.logical_and.reduce([speed > 0.0 for speed in self.speeds_radps])
        return found


class Spinning:
    """The driven wheels of a machine on their motors, at any speed.

    Parameters
    ----------
    machine : Machine
        With a motor.
    air : AirAround
    """

    def __init__(self, machine: Machine, air: AirAround = STILL_ROOM) -> None:
        motor, battery = machine.motor, machine.battery
        if motor is None or battery is None:
            raise ValueError("this machine has no motor")
        self.motor: Motor = motor
        self.battery: Battery = battery
        self.wheel, self.air = machine.wheel, air
        self.duties = machine.duties
        self.ratio = machine.values["motor.gear_ratio"]
        self.gearing = machine.values["motor.gear_efficiency_percent"] / 100.0

    def flow(self, speeds: tuple[Value, ...]) -> Circuit:
        """Return voltage and currents at the wheels' speeds, rad/s."""
        return circuit(
            self.battery,
            [(self.motor, d, self.ratio * w) for d, w in zip(self.duties, speeds, strict=True)],
        )

    def net_nm(self, current_a: Value, speed: Value) -> Value:
        """Return the torque left to speed a wheel up."""
        useful = self.motor.constant_vs * (current_a - self.motor.no_load_current_a)
        # A gear passes on a part of what drives it; what brakes it comes through whole.
        geared = self.ratio * useful * np.where(useful > 0.0, self.gearing, 1.0)
        return geared - self.wheel.loss_nm(speed, self.air.density_kgpm3, self.air.viscosity_pas)

    def push_nms(self) -> Value:
        """Return the torque that the motor of a wheel adds by the speed that its wheel has lost.

        The slope of the motor's line, all motors together on the battery.
        """
        loaded = sum(duty**2 for duty in self.duties) * self.battery.resistance_ohm
        return (
            (self.ratio * self.motor.constant_vs) ** 2
            * self.gearing
            / (self.motor.resistance_ohm + loaded)
        )

    def steady(self) -> tuple[Array, ...]:
        """Return the speeds at which no torque is left, rad/s; zero for a wheel that is held.

        Newton's method from above, where the torque is a concave function of the speed, with the
        voltage of the battery corrected between its steps.
        """
        terminal: Value = self.battery.voltage_v
        speeds = tuple(self._free(duty, terminal) for duty in self.duties)
        for _ in range(NEWTON_STEPS):
            if len(self.duties) == 2 and self.duties[0] is self.duties[1]:
                speeds = (self._closer(speeds[0], self.duties[0], terminal),) * 2
            else:
                speeds = tuple(
                    self._closer(speed, duty, terminal)
                    for speed, duty in zip(speeds, self.duties, strict=True)
                )
            terminal = self.flow(speeds).terminal_v
        return tuple(
            np.where(np.asarray(self._net(0.0 * speed, duty, terminal)) > 0.0, speed, 0.0)
            for speed, duty in zip(speeds, self.duties, strict=True)
        )

    def _free(self, duty: Value, terminal_v: Value) -> Array:
        """Return the speed at which a motor draws no current."""
        return np.asarray(duty * terminal_v / self.motor.constant_vs / self.ratio, float)

    def _net(self, speed: Value, duty: Value, terminal_v: Value) -> Value:
        return self.net_nm(self.motor.current_a(self.ratio * speed, duty * terminal_v), speed)

    def _closer(self, speed: Array, duty: Value, terminal_v: Value) -> Array:
        """Return a speed after one of Newton's steps."""
        step = 1e-6 * speed + 1e-9
        here = self._net(speed, duty, terminal_v)
        slope = (self._net(speed + step, duty, terminal_v) - here) / step
        # A wheel that is held has no root below; it stays within what its motor can do.
        return np.clip(speed - here / slope, 0.0, self._free(duty, terminal_v))


def running(machine: Machine, air: AirAround = STILL_ROOM) -> Running:
    """Return the wheels at their steady speed, by tachometer where there is one."""
    spinning = None if machine.motor is None else Spinning(machine, air)
    first = machine.values.get("wheel.speed_rpm")
    if first is not None:
        second = machine.values.get("wheel.second_speed_rpm", first)
        both = (np.asarray(first * RPM, float), np.asarray(second * RPM, float))
        speeds: tuple[Array, ...] = both[: machine.driven]
    elif spinning is not None:
        speeds = spinning.steady()
    else:
        raise ValueError("this machine has neither motor nor measured speed")
    return Running(speeds, None if spinning is None else spinning.flow(speeds))
