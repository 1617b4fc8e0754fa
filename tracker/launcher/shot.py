"""One shot of the machine."""

from dataclasses import dataclass

import numpy as np

from tracker.flight.ball import Ball
from tracker.launcher.arrays import Array, Value
from tracker.launcher.machine import Machine
from tracker.launcher.passage import Drive, Exit, Fed, pass_through
from tracker.launcher.recovery import Effort, effort
from tracker.launcher.spinning import STILL_ROOM, AirAround, Running, Spinning, running
from tracker.launcher.squeeze import Squeeze

SHELL_SHARES = {
    "tennis": 0.55,
    "tennis slow": 0.55,
    "tennis green": 0.55,
    "tennis orange": 0.55,
    "football": 2.0 / 3.0,
    "table tennis": 2.0 / 3.0,
}
"""Inertia of a hollow ball over mass times radius squared: 0.55 for a tennis ball (R. Cross, from
memory), 2/3 for a thin shell (textbook)."""

SOLID_SHARE = 0.4
"""The same of every other ball, taken as solid (textbook)."""


@dataclass(frozen=True)
class Launch:
    """One shot, or one for each draw of the machine.

    Attributes
    ----------
    running : Running
        Before the shot.
    exit : Exit
    squeeze : Squeeze
    stored_j : Value
        Energy of the wheels before the shot.
    """

    running: Running
    exit: Exit
    squeeze: Squeeze
    stored_j: Value

    @property
    def speed_mps(self) -> float:
        """Exit speed of a single machine."""
        return float(np.mean(self.exit.speed_mps))


def launch(machine: Machine, ball: Ball, air: AirAround = STILL_ROOM) -> Launch:
    """Shoot one ball with the wheels at their steady speed."""
    state = running(machine, air)
    wheel, squeeze, values = machine.wheel, machine.squeeze(ball), machine.values
    push = Spinning(machine, air).push_nms() if machine.motor is not None else 0.0
    free = 1.0 / wheel.inertia_kgm2
    first = state.speeds_radps[0]
    if machine.driven == 2:
        speeds, mobility, pushes = state.speeds_radps, (free, free), (push, push)
    else:
        speeds, pushes = (first, np.zeros_like(first)), (push, 0.0)
        mobility = (free, 0.0 if machine.plate else free)
    drive = Drive(wheel.radius_m, mobility, (speeds[0], speeds[1]), pushes)
    share = SHELL_SHARES.get(ball.name, SOLID_SHARE)
    fed = Fed(
        ball.mass_kg,
        share * ball.mass_kg * ball.diameter_m**2 / 4.0,
        values["grip.friction"],
        values["grip.feed_speed_mps"],
    )
    stored = sum(wheel.energy_j(speed) for speed in state.speeds_radps)
    return Launch(state, pass_through(drive, fed, squeeze), squeeze, stored)


def effort_of(machine: Machine, shot: Launch, air: AirAround = STILL_ROOM) -> Effort | None:
    """Return what a shot asks of motors and battery, or None where no motor is known."""
    if machine.motor is None:
        return None
    wheels: tuple[Array, ...] = shot.exit.wheel_radps[: machine.driven]
    return effort(Spinning(machine, air), shot.running, wheels)
