"""Carry of a shot from its exit speed, spin and angle."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.ground import LEVEL, Ground
from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.coefficients import Coefficient, FeltLift, SeamLift
from tracker.flight.figures import FIGURES, FlightFigures, figures
from tracker.flight.forces import forces_on
from tracker.flight.gravity import STANDARD_GRAVITY
from tracker.flight.integration import LAUNCH, fly, fly_many

Array = NDArray[np.float64]

SEAMED = ("baseball", "cricket", "cricket women", "cricket junior", "hockey")
"""Balls whose lift is taken from a baseball's; all others are taken as felt."""

STEP_S = 0.02
"""Step of the integration, s; the fourth order is exact to a millimetre with it (measured)."""

MANY_STEP_S = 0.06
"""Step where many flights are integrated for nothing but their carries, s; exact to a tenth of a
millimetre with it, up to 60 m/s (measured)."""

LANDING_ROUNDS = 6
"""Steps of Newton's method for the moment of landing within a step of the integration: from below
the ground it comes nearer without passing it, since the way bends down; three to four suffice."""

ANGLE_U_DEG = 1.0
"""Standard uncertainty of an angle set with eye and level, degrees (common practice, no source)."""

LIFT_SHARE = 0.5
"""Standard uncertainty of the lift of a spinning ball as a share of itself: published curves differ
by as much (see `tracker.flight.coefficients`)."""


@dataclass(frozen=True)
class Release:
    """Where and how the ball leaves the launcher.

    Attributes
    ----------
    height_m : float
        Of the ball's centre above the ground.
    angle_deg, angle_u_deg : float
        Launch angle and its standard uncertainty.
    ground : Ground
        On which it lands; the height is that above its origin.
    """

    height_m: float
    angle_deg: float
    angle_u_deg: float = ANGLE_U_DEG
    ground: Ground = LEVEL


@dataclass(frozen=True)
class Carry:
    """Carry of a shot and its sensitivity.

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
    arrangement: str = "over",
) -> Carry | None:
    """Return how far a ball carries before it comes down on the ground of its release.

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
    lift = 0.0
    if spin_radps != 0.0:
        ratio = ball.diameter_m / 2.0 * abs(spin_radps) / speed_mps
        lift = math.copysign(lift_of(ball)(speed_mps, ratio), spin_radps)
    found = _flown(start_of(speed_mps, lift, release, ball, air, arrangement), release, ball, air)
    if found is None or found.by_launch is None:
        return None
    slopes = found.by_launch[FIGURES.index("carry_m")]
    by = dict(zip(LAUNCH, map(float, slopes), strict=True))
    angle = math.radians(release.angle_deg)
    by_speed = math.cos(angle) * by["speed_along"] + math.sin(angle) * by["speed_up"]
    by_angle = speed_mps * (math.cos(angle) * by["speed_up"] - math.sin(angle) * by["speed_along"])
    # Density and drag enter as one product.
    drag_share = math.hypot(
        ball.drag_u / ball.drag_coefficient, air.density_u_kgpm3 / air.density_kgpm3
    )
    u = math.hypot(
        by["drag"] * ball.drag_coefficient * drag_share,
        by_angle * math.radians(release.angle_u_deg),
        by["wind_along"] * air.wind_u_mps,
        by["wind_across"] * air.wind_u_mps,
        by["lift_up"] * math.hypot(ball.lift_u, LIFT_SHARE * lift),
    )
    return Carry(found["carry_m"], by_speed, u, found["apex_m"], found["flight_time_s"])


def carries_of(
    speeds_mps: Array, releases: Sequence[Release], ball: Ball, air: Air, spin_radps: float = 0.0
) -> Array:
    """Return the carries of many shots, m, without their uncertainties.

    Parameters
    ----------
    speeds_mps : ndarray, shape (K,)
        Above zero.
    releases : sequence of Release
        One for each speed.
    ball : Ball
    air : Air
    spin_radps : float
        The same for all; of wheels that lie over and under.

    Notes
    -----
    All flights in one integration.
    """
    starts = []
    for speed, release in zip(speeds_mps, releases, strict=True):
        lift = 0.0
        if spin_radps != 0.0:
            ratio = ball.diameter_m / 2.0 * abs(spin_radps) / speed
            lift = math.copysign(lift_of(ball)(speed, ratio), spin_radps)
        starts.append(start_of(float(speed), lift, release, ball, air))
    return carries_from(np.array(starts), ball, air, [release.ground for release in releases])


def carries_from(rows: Array, ball: Ball, air: Air, grounds: Sequence[Ground] = ()) -> Array:
    """Return the carries of many flights, each to its own ground, m; see `carries_of`.

    Parameters
    ----------
    rows : ndarray, shape (K, 11)
        Where each flight begins, as `start_of` returns it.
    ball, air
        As for `carries_of`; the wind is that of the rows.
    grounds : sequence of Ground
        One for each flight; without them all are level.
    """
    heights = rows[:, LAUNCH.index("up")]
    ends = np.minimum(ball.diameter_m / 2.0, heights)
    for duration, step in _spans(float(_longest(rows, heights).max()), MANY_STEP_S):
        _, states = fly_many(rows, forces_on(ball, air), duration, step)
        up = _above(states, grounds)
        below = (up <= ends) & (np.arange(len(up))[:, None] > 0)
        if below.any(axis=0).all():
            break
    last = below.argmax(axis=0)
    column = np.arange(len(rows))
    around = np.stack([states[last - 1, column], states[last, column]])
    place = _landing(around, step, ends, grounds)
    return np.asarray(np.linalg.norm(place, axis=1))


def _landing(around: Array, step_s: float, ends_m: Array, grounds: Sequence[Ground]) -> Array:
    """Return where flights come down to a height above their grounds, shape (K, 2), m.

    Parameters
    ----------
    around : ndarray, shape (2, K, 6)
        Their states at the last node above it and the first below.
    step_s : float
        Time from one to the other.
    ends_m : ndarray, shape (K,)
    grounds : sequence of Ground
        As in `carries_from`.

    Notes
    -----
    On the cubic through places and velocities of both nodes (Hermite).
    """
    places, slopes = around[..., :3], step_s * around[..., 3:]
    heights = _above(places, grounds) - ends_m
    rates = _above(slopes, grounds)
    share = np.ones(len(ends_m))
    for _ in range(LANDING_ROUNDS):
        values, weights = _hermite(share)
        height = (values * np.concatenate([heights, rates])).sum(axis=0)
        rate = (weights * np.concatenate([heights, rates])).sum(axis=0)
        share = np.clip(share - height / np.minimum(rate, -1e-12), 0.0, 1.0)
    values, _ = _hermite(share)
    both = np.concatenate([places, slopes])
    return np.asarray((values[..., None] * both).sum(axis=0)[:, :2])


def _hermite(share: Array) -> tuple[Array, Array]:
    """Return what two values and two slopes contribute to a cubic and to its slope, shape (4, K).

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 25.2, by Hermite.
    """
    s, rest = share, 1.0 - share
    values = ((1.0 + 2.0 * s) * rest**2, s**2 * (3.0 - 2.0 * s), s * rest**2, -(s**2) * rest)
    slopes = (-6.0 * s * rest, 6.0 * s * rest, rest * (1.0 - 3.0 * s), s * (3.0 * s - 2.0))
    return np.stack(values), np.stack(slopes)


def _above(states: Array, grounds: Sequence[Ground]) -> Array:
    """Return the heights of flights above their grounds, shape (N, K); of velocities their rise."""
    up = states[:, :, LAUNCH.index("up")]
    if all(ground is LEVEL for ground in grounds):
        return up
    heights = [ground.above(states[:, at]) for at, ground in enumerate(grounds)]
    return np.stack(heights, axis=1)


def _longest(starts: Array, heights_m: ArrayLike) -> Array:
    """Return a time by which each flight has ended: twice that in a vacuum and 1 s."""
    rise = np.abs(starts[..., LAUNCH.index("speed_up")])
    fall = np.sqrt(2.0 * STANDARD_GRAVITY * np.maximum(heights_m, 0.1))
    return np.asarray(2.0 * (2.0 * rise + fall + 5.0) / STANDARD_GRAVITY)


def start_of(
    speed_mps: float, lift: float, release: Release, ball: Ball, air: Air, arrangement: str = "over"
) -> Array:
    """Return the launch that the flight is integrated from, in the order of `LAUNCH`."""
    angle = math.radians(release.angle_deg)
    # A faster upper wheel gives top-spin, which pushes down; a faster left one pushes right.
    up = {"over": -lift, "under": lift}.get(arrangement, 0.0)
    values = {
        "up": release.height_m,
        "speed_along": speed_mps * math.cos(angle),
        "speed_up": speed_mps * math.sin(angle),
        "drag": ball.drag_coefficient,
        "lift_up": up,
        "lift_side": -lift if arrangement == "beside" else 0.0,
        "wind_along": air.wind_along_mps,
        "wind_across": air.wind_across_mps,
    }
    return np.array([values.get(name, 0.0) for name in LAUNCH])


def _flown(start: Array, release: Release, ball: Ball, air: Air) -> FlightFigures | None:
    """Return the figures of the flight, None where it does not come down in time."""
    height_m = min(ball.diameter_m / 2.0, release.height_m)
    for duration, step in _spans(float(_longest(start, release.height_m)), STEP_S):
        flight = fly(start, forces_on(ball, air), duration, step_s=step, with_sensitivities=True)
        found = figures(flight, height_m, release.ground)
        if found is not None:
            return found
    return None


def _spans(whole_s: float, step_s: float) -> Iterator[tuple[float, float]]:
    """Return half of the longest duration and all of it, s, each with the same step, s.

    Nearly all come down in half the time in which the highest must: seldom is the rest needed.
    """
    steps = math.ceil(whole_s / step_s)
    for share in (0.5, 1.0):
        yield math.ceil(share * steps) / steps * whole_s, whole_s / steps
