"""The machine at rest: numbers of the setup turned into wheels, motors, battery and gap."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tracker.flight.ball import Ball
from tracker.launcher.arrays import Value
from tracker.launcher.battery import Battery
from tracker.launcher.motor import (
    RPM,
    Motor,
    motor_from_currents,
    motor_from_torque,
    stall_torque_from_power,
)
from tracker.launcher.squeeze import Squeeze
from tracker.launcher.wheel import Wheel, shape_inertia


@dataclass(frozen=True)
class Machine:
    """A launcher as its setup describes it.

    Attributes
    ----------
    values : mapping
        Number of each field by its key (``"wheel.diameter_mm"``), defaults filled in; an array
        where many draws are computed together.
    words : mapping
        Word of each choice by its key.
    u : mapping
        Standard uncertainty of each number, in its unit.
    """

    values: Mapping[str, Value]
    words: Mapping[str, str]
    u: Mapping[str, float]

    def having(self, changes: Mapping[str, Value]) -> "Machine":
        """Return the machine with other numbers."""
        return replace(self, values={**self.values, **changes})

    def number(self, key: str) -> float | None:
        """Return a number of a single machine, or None where nothing is known."""
        found = self.values.get(key)
        return None if found is None else float(found)

    @property
    def driven(self) -> int:
        """Number of driven wheels."""
        return int(np.max(self.values["wheel.driven"]))

    @property
    def plate(self) -> bool:
        """True when the ball runs between one wheel and a plate."""
        return self.driven == 1 and self.words["wheel.partner"] == "plate"

    @property
    def wheel(self) -> Wheel:
        """One wheel with what turns with it."""
        values = self.values
        radius = values["wheel.diameter_mm"] / 2e3
        measured, inner = values.get("wheel.inertia_gm2"), values.get("wheel.inner_diameter_mm")
        if measured is not None:
            inertia = measured / 1e3
        else:
            inertia = shape_inertia(
                values["wheel.mass_g"] / 1e3,
                radius,
                self.words["wheel.kind"],
                None if inner is None else inner / 2e3,
            )
        inertia += values["wheel.rim_mass_g"] / 1e3 * radius**2
        inertia += values["motor.rotor_inertia_gm2"] / 1e3 * values["motor.gear_ratio"] ** 2
        return Wheel(
            radius,
            inertia,
            values["losses.bearing_mnm"] / 1e3,
            values["losses.windage_factor"],
        )

    @property
    def motor(self) -> Motor | None:
        """The motor of one wheel, or None where only the wheel's speed is known."""
        values = self.values
        if "motor.no_load_rpm" not in values:
            return None
        supply, speed = values["motor.supply_v"], values["motor.no_load_rpm"] * RPM
        stall, idle = values.get("motor.stall_current_a"), values.get("motor.no_load_current_a")
        torque = values.get("motor.stall_torque_mnm")
        if torque is None and "motor.rated_power_w" in values:
            torque = 1e3 * stall_torque_from_power(values["motor.rated_power_w"], speed)
        if torque is not None:
            # What the shaft does counts for more than what the ammeter says of it.
            if idle is None:
                idle = 0.05 * torque / 1e3 * speed / supply / 0.95**2
            return motor_from_torque(supply, speed, idle, torque / 1e3)
        if stall is None:
            return None
        return motor_from_currents(supply, speed, 0.05 * stall if idle is None else idle, stall)

    @property
    def duties(self) -> tuple[Value, ...]:
        """Share of the time for which each motor is switched on."""
        first = self.values["motor.duty_percent"] / 100.0
        second = self.values.get("motor.second_duty_percent")
        return (first,) if self.driven == 1 else (first, first if second is None else second / 100)

    @property
    def battery(self) -> Battery | None:
        """The battery, or None where there is no motor."""
        if "motor.supply_v" not in self.values:
            return None
        rest = self.values.get("battery.rest_v", self.values["motor.supply_v"])
        return Battery(rest, self.values["battery.resistance_ohm"])

    def squeeze(self, ball: Ball) -> Squeeze:
        """Return the squeeze of a ball in the gap."""
        return Squeeze(
            self.values["wheel.diameter_mm"] / 2e3,
            ball.diameter_m / 2.0,
            # A drawn gap that is wider than the ball barely touches it.
            np.minimum(self.values["grip.gap_mm"] / 1e3, 0.99 * ball.diameter_m),
            1e3 * self.values["grip.stiffness_n_per_mm"],
            self.values["grip.squeeze_loss_percent"] / 100.0,
            self.plate,
        )
