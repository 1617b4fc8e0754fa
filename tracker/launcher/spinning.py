"""The wheels on their motors: up to speed, steady, and back again after a shot."""

import math
from dataclasses import dataclass

import numpy as np

from calibration.errors import InputError
from tracker.launcher.battery import Circuit, circuit
from tracker.launcher.machine import Machine
from tracker.launcher.motor import RPM
from tracker.launcher.wheel import AIR_KGPM3, AIR_VISCOSITY_PAS

SPUN_UP = 0.95
"""Share of the steady speed at which wheels count as spun up."""

RECOVERED = 0.99
"""Share of the steady speed at which they are ready for the next shot."""


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
    speeds_radps : tuple of float
        Of each driven wheel.
    circuit : Circuit or None
        What flows meanwhile; None where no motor is known.
    """

    speeds_radps: tuple[float, ...]
    circuit: Circuit | None


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
        self.motor, self.battery, self.wheel, self.air = motor, battery, machine.wheel, air
        self.duties = machine.duties
        self.ratio = machine.values["motor.gear_ratio"]
        self.gearing = machine.values["motor.gear_efficiency_percent"] / 100.0

    def flow(self, speeds: tuple[float, ...]) -> Circuit:
        """Return what flows at the wheels' speeds, rad/s."""
        return circuit(
            self.battery,
            [(self.motor, d, self.ratio * w) for d, w in zip(self.duties, speeds, strict=True)],
        )

    def net_nm(self, current_a: float, speed: float) -> float:
        """Return the torque left to speed a wheel up."""
        useful = self.motor.constant_vs * (current_a - self.motor.no_load_current_a)
        # A gear passes on a part of what drives it; what brakes it comes through whole.
        geared = self.ratio * useful * (self.gearing if useful > 0.0 else 1.0)
        return geared - self.wheel.loss_nm(speed, self.air.density_kgpm3, self.air.viscosity_pas)

    def steady(self) -> tuple[float, ...]:
        """Return the speeds at which nothing speeds up any more, rad/s.

        Raises
        ------
        InputError
            When friction holds the wheels for good.
        """
        from scipy.optimize import brentq

        ceiling = self.battery.voltage_v / self.motor.constant_vs / self.ratio
        if self.net_nm(self.flow((0.0,) * len(self.duties)).currents_a[0], 0.0) <= 0.0:
            raise InputError(
                "the motor cannot start its wheel: the bearings hold it",
                where="[setup.losses] bearing_mnm",
                remedy="check bearing_mnm, the motor's torque and duty_percent",
            )

        if len(set(self.duties)) == 1:
            # Wheels that run alike share the battery alike: it adds to each one's resistance.
            duty, motor = self.duties[0], self.motor
            sag = len(self.duties) * duty**2 * self.battery.resistance_ohm
            pull = duty * self.battery.voltage_v
            back = motor.constant_vs * self.ratio

            def together(speed: float) -> float:
                current = (pull - back * speed) / (motor.resistance_ohm + sag)
                return self.net_nm(current, speed)

            alike = float(brentq(together, 0.0, ceiling, xtol=1e-11 * ceiling, rtol=1e-13))
            return (alike,) * len(self.duties)

        def speed_at(duty: float, terminal: float) -> float:
            def net(speed: float) -> float:
                return self.net_nm(self.motor.current_a(self.ratio * speed, duty * terminal), speed)

            return float(brentq(net, 0.0, ceiling, xtol=1e-11 * ceiling, rtol=1e-13))

        # The motors meet only in the battery: guess its voltage, let each settle, look again.
        terminal = self.battery.voltage_v
        for _ in range(60):
            speeds: tuple[float, ...] = tuple(speed_at(duty, terminal) for duty in self.duties)
            seen = self.flow(speeds).terminal_v
            if abs(seen - terminal) < 1e-12 * self.battery.voltage_v:
                break
            terminal = seen
        return speeds

    def climb(
        self, start: tuple[float, ...], steady: tuple[float, ...], share: float
    ) -> tuple[float, float]:
        """Return time (s) and extra energy (J) of the way up to a share of the steady speed.

        Parameters
        ----------
        start, steady : tuple of float
            Speeds, rad/s.
        share : float
            Below 1.

        Notes
        -----
        ``dt = I dw / T``; in the logarithm of what is missing to the steady speed the integrand
        is nearly constant, exactly so for a straight motor line without losses. Gauss-Legendre.
        The wheels are taken to close their gaps in step; the slowest sets the time. The energy
        leaves the battery's cells beyond what running costs meanwhile.
        """
        missing = [1.0 - low / high for low, high in zip(start, steady, strict=True)]
        if max(missing) <= 1.0 - share:
            return 0.0, 0.0
        way = math.log(max(missing) / (1.0 - share))
        nodes, weights = _gauss()
        idle = self.flow(steady).power_w(self.battery)
        seconds = np.zeros(len(steady))
        energy = 0.0
        for node, weight in zip(nodes, weights, strict=True):
            left = [gap * math.exp(-node * way) for gap in missing]
            speeds = tuple(w * (1.0 - gap) for w, gap in zip(steady, left, strict=True))
            now = self.flow(speeds)
            rates = np.array(
                [
                    self.wheel.inertia_kgm2 * gap * w / self.net_nm(current, speed)
                    if gap > 0.0
                    else 0.0
                    for gap, w, current, speed in zip(
                        left, steady, now.currents_a, speeds, strict=True
                    )
                ]
            )
            seconds += weight * way * rates
            energy += weight * way * float(rates.max()) * (now.power_w(self.battery) - idle)
        return float(seconds.max()), energy


def _gauss() -> tuple[np.ndarray, np.ndarray]:
    """Return nodes and weights of Gauss-Legendre quadrature from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(20)
    return (nodes + 1.0) / 2.0, weights / 2.0


def running(machine: Machine, air: AirAround = STILL_ROOM) -> Running:
    """Return the wheels at their steady speed, by tachometer where there is one."""
    motor = machine.motor
    spinning = None if motor is None else Spinning(machine, air)
    first = machine.number("wheel.speed_rpm")
    if first is not None:
        second = machine.number("wheel.second_speed_rpm")
        both = (first * RPM, (first if second is None else second) * RPM)
        speeds: tuple[float, ...] = both[: machine.driven]
    elif spinning is not None:
        speeds = spinning.steady()
    else:
        raise ValueError("this machine has neither motor nor measured speed")
    return Running(speeds, None if spinning is None else spinning.flow(speeds))
