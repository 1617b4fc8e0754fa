"""The ball's passage between the wheels.

Integrated along the way in steps of equal length: at each step the normal force of the squeeze
(`tracker.launcher.squeeze`) pushes along the way by its tilt, and friction pulls at either side up
to its limit, or as much as keeps that side from slipping. The motors keep driving. All draws of a
machine are integrated together.
"""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array, Value
from tracker.launcher.squeeze import Place, Squeeze

STEPS = 40
"""Steps along the way: exit speeds are within 0.7 % of an integration in time, 0.2 % in the mean
(measured over 80 to 200 mm, 6 to 14 V, 40 to 300 g, loss 0 to 80 %)."""

ROUNDS = 3
"""Repetitions of a step with its duration corrected; a fourth changes nothing (measured)."""

SWEEPS = 2
"""Corrections of the two frictions for each other; the spin of a ball makes the push at one side
matter little to the slip at the other, so more change nothing (measured)."""

LEAST_SPEED = 1e-3
"""Speed, m/s, below which a ball counts as stuck."""


@dataclass(frozen=True)
class Drive:
    """The two sides of the gap when the ball touches them.

    Attributes
    ----------
    radius_m : Value
        Of either wheel.
    mobility : tuple of two Values
        One over the inertia of each side, 1/(kg m²); zero for a plate.
    speeds_radps : tuple of two Values
        Zero for a plate or an idle wheel.
    push_nms : tuple of two Values
        Torque of each motor by the speed that its wheel has lost, N m s.
    """

    radius_m: Value
    mobility: tuple[Value, Value]
    speeds_radps: tuple[Value, Value]
    push_nms: tuple[Value, Value] = (0.0, 0.0)


@dataclass(frozen=True)
class Fed:
    """The ball as it is fed.

    Attributes
    ----------
    mass_kg : float
    inertia_kgm2 : float
    friction : Value
        Coefficient between rim and ball.
    speed_mps : Value
    """

    mass_kg: Value
    inertia_kgm2: Value
    friction: Value
    speed_mps: Value


@dataclass(frozen=True)
class Exit:
    """The ball and the wheels when they part.

    Attributes
    ----------
    speed_mps : ndarray
        Zero where the ball stuck in the gap.
    spin_radps : ndarray
        Positive when the first side is the faster.
    wheel_radps : tuple of two ndarray
    gripped : tuple of two ndarray of bool
        Whether the side stopped slipping somewhere on the way.
    """

    speed_mps: Array
    spin_radps: Array
    wheel_radps: tuple[Array, Array]
    gripped: tuple[np.ndarray, np.ndarray]

    @property
    def stuck(self) -> np.ndarray:
        """Where the ball does not get through."""
        return np.asarray(self.speed_mps <= 0.0)


def pass_through(drive: Drive, ball: Fed, squeeze: Squeeze, steps: int = STEPS) -> Exit:
    """Send a ball without spin through the gap.

    Notes
    -----
    Coulomb friction as an implicit impulse of each step, as J. J. Moreau's time stepping has it
    (Nonsmooth Mechanics and Applications, 1988): the impulse that ends the slip, or the limit.
    """
    length = squeeze.half_length_m
    state = _State.start(drive, ball, length)
    push = np.asarray(length) * 2.0 / steps
    for step in range(steps):
        x = np.asarray(length) * ((2.0 * step + 1.0) / steps - 1.0)
        state = _advance(state, drive, ball, squeeze.at(x), push)
    zero = np.where(state.stuck, 0.0, 1.0)
    return Exit(
        state.speed * zero,
        state.spin * zero,
        state.wheels,
        (state.gripped[0] & ~state.stuck, state.gripped[1] & ~state.stuck),
    )


@dataclass(frozen=True)
class _State:
    """The ball and the wheels on the way."""

    speed: Array
    spin: Array
    wheels: tuple[Array, Array]
    gripped: tuple[np.ndarray, np.ndarray]
    stuck: np.ndarray

    @classmethod
    def start(cls, drive: Drive, ball: Fed, length: Value) -> "_State":
        shape = np.broadcast_shapes(
            *(np.shape(v) for v in (drive.radius_m, *drive.mobility, *drive.speeds_radps, length)),
            np.shape(ball.friction), np.shape(ball.speed_mps), np.shape(ball.mass_kg),
        )  # fmt: skip
        first, second = (np.broadcast_to(w, shape).astype(float) for w in drive.speeds_radps)
        return cls(
            np.broadcast_to(ball.speed_mps, shape).astype(float),
            np.zeros(shape),
            (first, second),
            (np.zeros(shape, bool), np.zeros(shape, bool)),
            np.broadcast_to(np.asarray(ball.speed_mps) <= 0.0, shape) & False,
        )


def _advance(state: _State, drive: Drive, ball: Fed, place: Place, way: Array) -> _State:
    """Return the state a step further along the way."""
    limit = ball.friction * place.normal_n
    mobility = _ContactMobility.of(drive, ball, place)
    after = _guess(state, drive, ball, place, way)
    pulls, wheels, seconds = (limit, limit), state.wheels, way
    for _ in range(ROUNDS):
        seconds = 2.0 * way / np.maximum(state.speed + after, 2.0 * LEAST_SPEED)
        wheels = (
            _driven(state.wheels[0], drive, 0, seconds),
            _driven(state.wheels[1], drive, 1, seconds),
        )
        forward = state.speed + place.forward_n * seconds / ball.mass_kg
        slips = _slips((forward, state.spin, *wheels), drive, place)
        pulls = _pulls(slips, mobility, limit * seconds)
        pulled = pulls[0] * place.cosines[0] + pulls[1] * place.cosines[1]
        after = forward + pulled / ball.mass_kg
    stuck = state.stuck | (after <= LEAST_SPEED)
    return _State(
        np.where(stuck, LEAST_SPEED, after),
        state.spin + place.arm_m * (pulls[0] - pulls[1]) / ball.inertia_kgm2,
        (
            np.where(stuck, state.wheels[0], _braked(wheels[0], pulls[0], drive, 0)),
            np.where(stuck, state.wheels[1], _braked(wheels[1], pulls[1], drive, 1)),
        ),
        (
            state.gripped[0] | (np.abs(pulls[0]) < limit * seconds),
            state.gripped[1] | (np.abs(pulls[1]) < limit * seconds),
        ),
        stuck,
    )


def _guess(state: _State, drive: Drive, ball: Fed, place: Place, way: Array) -> Array:
    """Return a first guess of the speed after a step: that of full friction."""
    force = place.forward_n
    for side in (0, 1):
        ahead = np.sign(drive.radius_m * state.wheels[side] - state.speed)
        force = force + ahead * ball.friction * place.normal_n * place.cosines[side]
    square = state.speed**2 + 2.0 * force * way / ball.mass_kg
    return np.asarray(np.sqrt(np.maximum(square, LEAST_SPEED**2)))


def _driven(wheel: Array, drive: Drive, side: int, seconds: Array) -> Array:
    """Return a wheel's speed after its motor has pushed it for a time."""
    lost = drive.speeds_radps[side] - wheel
    return np.asarray(wheel + drive.mobility[side] * drive.push_nms[side] * lost * seconds)


def _braked(wheel: Array, pull: Array, drive: Drive, side: int) -> Array:
    """Return a wheel's speed after an impulse of friction on its ball."""
    return np.asarray(wheel - pull * drive.radius_m * drive.mobility[side])


@dataclass(frozen=True)
class _ContactMobility:
    """Slip that an impulse of friction takes away, m/s per N s; the inverse of an effective mass.

    Attributes
    ----------
    own : tuple of two ndarray
        At the side of the impulse.
    cross : ndarray
        At the other side.
    """

    own: tuple[Array, Array]
    cross: Array

    @classmethod
    def of(cls, drive: Drive, ball: Fed, place: Place) -> "_ContactMobility":
        cosine = place.cosines
        turn = place.arm_m**2 / ball.inertia_kgm2
        first, second = (
            cosine[side] ** 2 / ball.mass_kg + turn + drive.radius_m**2 * drive.mobility[side]
            for side in (0, 1)
        )
        return cls((first, second), cosine[0] * cosine[1] / ball.mass_kg - turn)


def _slips(
    speeds: tuple[Array, Array, Array, Array], drive: Drive, place: Place
) -> tuple[Array, Array]:
    """Return the slip at either side, m/s, from the speeds of ball, spin and both wheels."""
    speed, spin, first, second = speeds
    turned = place.arm_m * spin
    return (
        drive.radius_m * first - speed * place.cosines[0] - turned,
        drive.radius_m * second - speed * place.cosines[1] + turned,
    )


def _pulls(
    slips: tuple[Array, Array], mobility: _ContactMobility, limit: Array
) -> tuple[Array, Array]:
    """Return the impulse of friction at either side, N s: what ends the slip, up to the limit."""
    own, cross, least = mobility.own, mobility.cross, -limit

    def within(pull: Array) -> Array:
        # What numpy.clip does, at a third of its cost for few draws.
        return np.minimum(np.maximum(pull, least), limit)

    first_pull, second_pull = within(slips[0] / own[0]), within(slips[1] / own[1])
    for _ in range(SWEEPS):
        # Both from the last pair, so that equal sides stay equal.
        first_pull, second_pull = (
            within((slips[0] - cross * second_pull) / own[0]),
            within((slips[1] - cross * first_pull) / own[1]),
        )
    return first_pull, second_pull
