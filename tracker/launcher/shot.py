"""One shot of the machine, and what it costs."""

from dataclasses import dataclass, replace

from tracker.flight.ball import Ball
from tracker.launcher.machine import Machine
from tracker.launcher.passage import PLATE, Body, Contact, Exit, Nip, Side, pass_through
from tracker.launcher.spinning import (
    RECOVERED,
    SPUN_UP,
    STILL_ROOM,
    AirAround,
    Running,
    Spinning,
    running,
)

SHELL_SHARES = {
    "tennis": 0.55,
    "tennis slow": 0.55,
    "tennis green": 0.55,
    "tennis orange": 0.55,
    "football": 2.0 / 3.0,
    "table tennis": 2.0 / 3.0,
}
"""Inertia of a hollow ball over mass times radius squared: 0.55 for a tennis ball (R. Cross, via
public codes), 2/3 for a thin shell; every other ball counts as solid, 2/5."""


@dataclass(frozen=True)
class Launch:
    """One shot: what the ball gets and what it costs.

    Attributes
    ----------
    running : Running
        Before the shot.
    exit : Exit
    contact : Contact
    stored_j : float
        Energy of the wheels before the shot.
    """

    running: Running
    exit: Exit
    contact: Contact
    stored_j: float


def launch(machine: Machine, ball: Ball, air: AirAround = STILL_ROOM) -> Launch:
    """Shoot one ball with the wheels at their steady speed."""
    state = running(machine, air)
    wheel, contact = machine.wheel, machine.contact(ball)
    values = machine.values
    first = Side(wheel.radius_m, wheel.inertia_kgm2, state.speeds_radps[0])
    if machine.driven == 2:
        second = replace(first, speed_radps=state.speeds_radps[1])
    else:
        second = PLATE if machine.plate else replace(first, speed_radps=0.0)
    share = SHELL_SHARES.get(ball.name, 0.4)
    body = Body(
        ball.mass_kg, share * ball.mass_kg * ball.diameter_m**2 / 4.0, values["grip.gap_mm"] / 2e3
    )
    nip = Nip(
        values["grip.friction"] * contact.normal_work_j,
        values["grip.squeeze_loss_percent"] / 100.0 * contact.elastic_j,
        values["grip.restitution"],
        values["grip.feed_speed_mps"],
    )
    stored = sum(wheel.energy_j(speed) for speed in state.speeds_radps)
    return Launch(state, pass_through((first, second), body, nip), contact, stored)


@dataclass(frozen=True)
class Effort:
    """What running and shooting ask of motors and battery.

    Attributes
    ----------
    spin_up_s : float
        From rest to 95 % of the steady speed.
    recovery_s : float
        After a shot, to 99 %.
    shot_j : float
        Energy from the battery for a shot, beyond running.
    running_w : float
        Power from the battery while the wheels run.
    shots_per_charge : int or None
        With the given time between shots; None where the capacity is unknown.
    """

    spin_up_s: float
    recovery_s: float
    shot_j: float
    running_w: float
    shots_per_charge: int | None


def effort(
    machine: Machine, shot: Launch, interval_s: float = 15.0, air: AirAround = STILL_ROOM
) -> Effort | None:
    """Return what a shot asks of motors and battery, or None where no motor is known.

    Parameters
    ----------
    machine : Machine
    shot : Launch
    interval_s : float
        Time from shot to shot with the wheels running.
    air : AirAround
    """
    if machine.motor is None:
        return None
    spinning = Spinning(machine, air)
    steady = spinning.steady()
    rest = (0.0,) * len(steady)
    # What the tachometer showed may lie above the motor's own steady speed: recover to the lower.
    after = tuple(
        steady_speed * min(1.0, slowed / before)
        for steady_speed, slowed, before in zip(
            steady, shot.exit.wheel_radps, shot.running.speeds_radps, strict=False
        )
    )
    spin_up, _ = spinning.climb(rest, steady, SPUN_UP)
    recovery, energy = spinning.climb(after, steady, RECOVERED)
    idle = spinning.flow(steady).power_w(spinning.battery)
    usable = spinning.battery.usable_energy_j
    count = None if usable is None else int(usable / (energy + idle * max(interval_s, recovery)))
    return Effort(spin_up, recovery, energy, idle, count)
