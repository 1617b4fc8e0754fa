"""A ball's passage between two driven rims, integrated in time: the reference of the tests.

Written apart from the launcher's model: small steps in time, forces at the rims' contact points,
a ball that is loaded along a straight line and unloaded along a softer curve, Coulomb friction
with an elastic shear of the ball (a tangential spring and damper at each contact), motors that keep
driving. No formula is shared with the code under test.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Case:
    """A machine at the moment at which the ball touches the rims; SI units."""

    wheel_radius: float = 0.08
    wheel_inertia: float = 8.8e-4
    rim_speeds: tuple[float, float] = (40.0, 40.0)
    ball_mass: float = 0.0577
    ball_radius: float = 0.0335
    ball_inertia_share: float = 0.55
    gap: float = 0.05
    stiffness: float = 15e3
    loss: float = 0.4
    friction: float = 0.7
    feed: float = 0.5
    motor_slope: float = 0.0
    """Torque per lost speed of a wheel, N m s."""
    shear: float = 1.0
    """Tangential over normal stiffness of one contact; large for a ball that does not shear."""
    shear_damping: float = 0.2
    """Damping ratio of that spring with the ball's mass."""
    hardening: float = 1.0
    """Power of the loading curve."""
    barrel: float = 1.0
    """1: unloading by a power law; 0: along the loading line times (1 - loss)."""


@dataclass(frozen=True)
class Left:
    """The ball and the wheels after the passage; speed zero where the ball did not get through."""

    speed: float
    spin: float
    wheels: tuple[float, float]


def passage(case: Case, step: float = 2e-6, longest: float = 0.25) -> Left:
    """Return what leaves the rims, by semi-implicit Euler steps in time."""
    r, big = case.wheel_radius, case.ball_radius
    inertia = case.ball_inertia_share * case.ball_mass * big**2
    axis = r + case.gap / 2
    half = math.sqrt((r + big) ** 2 - axis**2)
    deepest = 2 * big - case.gap
    top = case.stiffness * deepest
    # The unloading curve encloses the lost share of the energy of loading.
    power = (case.hardening + 1) / max(1 - case.loss, 0.02) - 1
    x, v, w = -half, case.feed, 0.0
    wheels = [u / r for u in case.rim_speeds]
    started = list(wheels)
    shear = [0.0, 0.0]
    tangential = 2 * case.stiffness * case.shear
    damping = 2 * case.shear_damping * math.sqrt(tangential * case.ball_mass)
    time = 0.0
    while x < half:
        distance = math.hypot(x, axis)
        squeeze = max(0.0, 2 * (r + big - distance))
        sine, cosine = x / distance, axis / distance
        share = squeeze / deepest
        if x < 0:
            normal = top * share**case.hardening
        elif case.barrel:
            normal = top * share**power
        else:
            normal = (1 - case.loss) * top * share**case.hardening
        arm = big - squeeze / 2
        forward, torque = 2 * normal * sine, 0.0
        for side, sign in ((0, 1.0), (1, -1.0)):
            slip = r * wheels[side] - v * cosine - sign * arm * w
            shear[side] += slip * step
            pull = tangential * shear[side] + damping * slip
            limit = case.friction * normal
            if abs(pull) > limit:
                pull = math.copysign(limit, pull)
                shear[side] = (pull - damping * slip) / tangential
                if abs(shear[side]) > limit / tangential:
                    shear[side] = math.copysign(limit / tangential, shear[side])
            forward += pull * cosine
            torque += sign * pull * arm
            drive = case.motor_slope * (started[side] - wheels[side])
            wheels[side] += (drive - pull * r) / case.wheel_inertia * step
        v += forward / case.ball_mass * step
        w += torque / inertia * step
        x += v * step
        time += step
        if x < -half or time > longest:
            return Left(0.0, 0.0, (wheels[0], wheels[1]))
    return Left(v, w, (wheels[0], wheels[1]))
