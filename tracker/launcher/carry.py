"""From the exit to the ground: how far the predicted shot carries."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.coefficients import Coefficient, FeltLift, SeamLift
from tracker.flight.figures import FIGURES, figures
from tracker.flight.forces import forces_on
from tracker.flight.gravity import STANDARD_GRAVITY
from tracker.flight.trajectory import LAUNCH, fly

SEAMED = ("baseball", "cricket", "cricket women", "cricket junior", "hockey")


@dataclass(frozen=True)
class Release:
    """Where and how the ball leaves the launcher.

    Attributes
    ----------
    height_m : float
        Of the ball's centre above the ground.
    angle_deg, angle_u_deg : float
        Launch angle and its standard uncertainty; 1 degree for an angle that was set by eye
        and level (common practice, no source).
    """

    height_m: float
    angle_deg: float
    angle_u_deg: float = 1.0


@dataclass(frozen=True)
class Carry:
    """How far a shot carries, and what that owes to each cause.

    Attributes
    ----------
    carry_m : float
    by_speed_s : float
        Carry by exit speed, m per m/s.
    u_m : float
        Standard uncertainty from drag, angle, wind and air; the exit speed's not counted.
    apex_m, flight_time_s : float
    """

    carry_m: float
    by_speed_s: float
    u_m: float
    apex_m: float
    flight_time_s: float


def lift_of(ball: Ball) -> Coefficient:
    """Return the lift coefficient of a spinning ball: seamed as a baseball, else as felt."""
    return SeamLift() if ball.name in SEAMED else FeltLift()


def carry_of(
    speed_mps: float,
    spin_radps: float,
    release: Release,
    ball: Ball,
    air: Air,
    arrangement: Literal["over", "under", "beside"] = "over",
) -> Carry | None:
    """Return how far a ball carries over level ground.

    Parameters
    ----------
    speed_mps : float
    spin_radps : float
        Positive when the first wheel was the faster.
    release : Release
    ball : Ball
    air : Air
    arrangement : {"over", "under", "beside"}
        Where the first wheel lies; beside is to the left.

    Returns
    -------
    Carry or None
        None when the ball did not leave the launcher.
    """
    if speed_mps <= 0.0:
        return None
    angle = math.radians(release.angle_deg)
    lift = 0.0
    if spin_radps != 0.0:
        ratio = ball.diameter_m / 2.0 * abs(spin_radps) / speed_mps
        lift = math.copysign(lift_of(ball)(speed_mps, ratio), spin_radps)
    start = np.zeros(len(LAUNCH))
    start[LAUNCH.index("up")] = release.height_m
    start[LAUNCH.index("speed_along")] = speed_mps * math.cos(angle)
    start[LAUNCH.index("speed_up")] = speed_mps * math.sin(angle)
    start[LAUNCH.index("drag")] = ball.drag_coefficient
    # A faster upper wheel is top-spin, which pushes down; a faster left one pushes right.
    start[LAUNCH.index("lift_up")] = {"over": -lift, "under": lift}.get(arrangement, 0.0)
    start[LAUNCH.index("lift_side")] = -lift if arrangement == "beside" else 0.0
    start[LAUNCH.index("wind_along")] = air.wind_along_mps
    start[LAUNCH.index("wind_across")] = air.wind_across_mps

    rise = speed_mps * abs(math.sin(angle))
    span = 2.0 * rise + math.sqrt(2.0 * STANDARD_GRAVITY * max(release.height_m, 0.1)) + 5.0
    # Lift may hold it up longer than a vacuum would.
    duration = 2.0 * span / STANDARD_GRAVITY
    flight = fly(start, forces_on(ball, air), duration, step_s=0.02, sensitivities=True)
    found = figures(flight, min(ball.diameter_m / 2.0, release.height_m))
    if found is None or found.by_launch is None:
        return None
    slopes = found.by_launch[FIGURES.index("carry_m")]

    def by(name: str) -> float:
        return float(slopes[LAUNCH.index(name)])

    by_speed = math.cos(angle) * by("speed_along") + math.sin(angle) * by("speed_up")
    by_angle = speed_mps * (-math.sin(angle) * by("speed_along") + math.cos(angle) * by("speed_up"))
    # Density and drag enter as one product.
    drag_share = math.hypot(
        ball.drag_u / ball.drag_coefficient, air.density_u_kgpm3 / air.density_kgpm3
    )
    parts = (
        by("drag") * ball.drag_coefficient * drag_share,
        by_angle * math.radians(release.angle_u_deg),
        by("wind_along") * air.wind_u_mps,
        by("wind_across") * air.wind_u_mps,
        # The lift of a spin is known to half of itself, on top of what a ball has without.
        by("lift_up") * math.hypot(ball.lift_u, 0.5 * lift),
    )
    return Carry(
        found["carry_m"],
        by_speed,
        math.sqrt(sum(part**2 for part in parts)),
        found["apex_m"],
        found["flight_time_s"],
    )
