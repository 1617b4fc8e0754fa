"""What nobody can look up, learned from shots.

Every uncertain number that all setups share gets one factor, 1 before any shot, known to the
uncertainty that the setups state; the shots of several setups pull the factors to where the
model meets them (least squares with those priors: the most probable values given the shots).
Numbers that differ from setup to setup keep their own uncertainty, which counts with that of
the measured value.
"""

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.flight.ball import Ball
from tracker.launcher.belief import believe
from tracker.launcher.fields import MODEL_SHARE, NUMBERS, number_at
from tracker.launcher.machine import Machine
from tracker.launcher.shot import Launch, launch
from tracker.launcher.spinning import STILL_ROOM, AirAround

Array = NDArray[np.float64]

MUTE = ("battery.capacity_ah", "battery.usable_percent")
"""Numbers that no shot depends on."""


def exit_speed(shot: Launch) -> float:
    """Return the exit speed of a shot, m/s."""
    return shot.exit.speed_mps


@dataclass(frozen=True)
class Lesson:
    """What was measured of one setup.

    Attributes
    ----------
    name : str
    machine : Machine
    value : float
        Mean of the measured quantity.
    u : float
        Its standard uncertainty.
    of : callable
        What the model says of that quantity, from a `Launch`.
    """

    name: str
    machine: Machine
    value: float
    u: float
    of: Callable[[Launch], float] = exit_speed


@dataclass(frozen=True)
class Learned:
    """Factors on the machine's numbers, with their covariance.

    Attributes
    ----------
    keys : tuple of str
        Numbers that have a factor.
    logs : ndarray, shape (N,)
        Natural logarithm of each factor.
    priors : ndarray, shape (N,)
        Standard uncertainty of that before any shot.
    covariance : ndarray, shape (N, N)
        After the shots.
    draws : ndarray, shape (K, N)
        Logarithms drawn from what is believed after the shots, equally likely.
    chi_square : float
        Weighted sum of squares of the measured values' residuals.
    residuals : tuple of (str, float, float)
        Setup, measured less modelled, its standard uncertainty.
    """

    keys: tuple[str, ...]
    logs: Array
    priors: Array
    covariance: Array
    draws: Array
    chi_square: float
    residuals: tuple[tuple[str, float, float], ...]

    def applied(self, machine: Machine, logs: Array | None = None) -> Machine:
        """Return a machine with its numbers corrected, by other logarithms where given."""
        return corrected(machine, self.keys, self.logs if logs is None else logs)

    def shrinkage(self, key: str) -> float:
        """Return the uncertainty of a factor after the shots over that before."""
        place = self.keys.index(key)
        return float(math.sqrt(self.covariance[place, place]) / self.priors[place])

    def correlation(self) -> Array:
        """Return the correlation of the factors, shape (N, N)."""
        u = np.sqrt(np.diag(self.covariance))
        return np.asarray(self.covariance / np.outer(u, u))

    @property
    def explained(self) -> bool:
        """True when the model meets the measured values as well as their uncertainty allows."""
        from scipy.special import chdtrc

        return bool(chdtrc(len(self.residuals), self.chi_square) > 0.01)

    def sentences(self) -> list[str]:
        """Return what the shots have taught of each number, and what they have not."""
        taught, barely = [], []
        for place, key in enumerate(self.keys):
            number = number_at(key)
            if number is None or not number.learned:
                continue
            factor = math.exp(self.logs[place])
            left = self.shrinkage(key)
            if left < 0.6:
                u = 100.0 * math.sqrt(self.covariance[place, place])
                taught.append(
                    f"{key}: {factor:.2f} times what the setups state, known to {u:.0f} % "
                    f"(before the shots: {100.0 * self.priors[place]:.0f} %)."
                )
            elif left > 0.9:
                barely.append(key)
        if barely:
            taught.append(f"The shots say next to nothing of {_listed(barely)}.")
        correlation = self.correlation()
        for i, first in enumerate(self.keys):
            for j in range(i):
                if abs(correlation[i, j]) > 0.8:
                    how = "product" if correlation[i, j] < 0 else "ratio"
                    taught.append(
                        f"{self.keys[j]} and {first} cannot be told apart: the shots fix little "
                        f"more than their {how} (correlation {correlation[i, j]:+.2f})."
                    )
        if not self.explained:
            worst = max(self.residuals, key=lambda r: abs(r[1] / r[2]))
            taught.append(
                f"The model does not meet all setups: {worst[0]} lies {worst[1]:+.1f} off, with a "
                f"standard uncertainty of {worst[2]:.1f}."
            )
        return taught


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def corrected(machine: Machine, keys: Sequence[str], logs: Array) -> Machine:
    """Return a machine with the numbers of `keys` multiplied, kept within their limits."""
    changes = {}
    for key, log in zip(keys, logs, strict=True):
        if key in machine.values:
            number = number_at(key)
            value = machine.values[key] * math.exp(log)
            changes[key] = value if number is None else min(max(value, number.low), number.high)
    return machine.having(changes)


def shared_keys(lessons: Sequence[Lesson]) -> tuple[str, ...]:
    """Return the uncertain numbers that one factor serves in all setups.

    Those that shots may correct, and those that stand the same in every setup.
    """
    found = []
    for number in NUMBERS:
        if number.key in MUTE:
            continue
        values = {
            lesson.machine.values[number.key]
            for lesson in lessons
            if lesson.machine.values.get(number.key, 0.0) > 0.0
            and lesson.machine.u.get(number.key, 0.0) > 0.0
        }
        if values and (number.learned or (len(values) == 1 and len(lessons) > 1)):
            found.append(number.key)
    return tuple(found)


def learn(lessons: Sequence[Lesson], ball: Ball, air: AirAround = STILL_ROOM) -> Learned:
    """Return the factors that the measured setups teach.

    Parameters
    ----------
    lessons : sequence of Lesson
        At least one.
    ball : Ball
    air : AirAround

    Notes
    -----
    Normal errors and priors; see `tracker.launcher.belief`, each pattern of rims that grip or
    slip being a regime. Each value carries, besides its own uncertainty, that of the setup's own
    numbers and 3 % for what the model leaves out.
    """
    if not lessons:
        raise ValueError("learning needs a measured setup")
    keys = shared_keys(lessons)
    priors = np.array([_prior(lessons, key) for key in keys])

    errors = np.array([_own_u(lesson, keys, ball, air) for lesson in lessons])

    def model(scaled: Array) -> tuple[Array, Hashable]:
        shots = [
            launch(corrected(lesson.machine, keys, scaled * priors), ball, air)
            for lesson in lessons
        ]
        misses = [
            (lesson.value - lesson.of(shot)) / error
            for lesson, shot, error in zip(lessons, shots, errors, strict=True)
        ]
        return np.concatenate((misses, scaled)), tuple(shot.exit.gripped for shot in shots)

    belief = believe(model, len(keys))
    misses = belief.residuals[: len(lessons)]
    return Learned(
        keys,
        belief.best * priors,
        priors,
        np.asarray(np.cov(belief.draws.T).reshape(len(keys), -1) * np.outer(priors, priors)),
        belief.draws * priors,
        float(misses @ misses),
        tuple(
            (lesson.name, float(miss * error), float(error))
            for lesson, miss, error in zip(lessons, misses, errors, strict=True)
        ),
    )


@dataclass(frozen=True)
class LeftOut:
    """One setup predicted from the others.

    Attributes
    ----------
    name : str
    measured, predicted : float
    u : float
        Standard uncertainty of the difference.
    """

    name: str
    measured: float
    predicted: float
    u: float

    @property
    def error(self) -> float:
        """Predicted less measured."""
        return self.predicted - self.measured


def leave_one_out(
    lessons: Sequence[Lesson], ball: Ball, air: AirAround = STILL_ROOM
) -> list[LeftOut]:
    """Predict each setup from the shots of the others; empty for fewer than two.

    Source: M. Stone, Journal of the Royal Statistical Society B 36, 111 (1974).
    """
    if len(lessons) < 2:
        return []
    found = []
    for place, lesson in enumerate(lessons):
        others = [*lessons[:place], *lessons[place + 1 :]]
        learned = learn(others, ball, air)
        values = np.array(
            [
                lesson.of(launch(learned.applied(lesson.machine, logs), ball, air))
                for logs in learned.draws
            ]
        )
        own = _own_u(lesson, learned.keys, ball, air)
        found.append(
            LeftOut(
                lesson.name,
                lesson.value,
                float(values.mean()),
                math.hypot(own, float(values.std())),
            )
        )
    return found


def _prior(lessons: Sequence[Lesson], key: str) -> float:
    """Return the relative uncertainty that the setups state, the greatest of them."""
    return max(
        lesson.machine.u[key] / lesson.machine.values[key]
        for lesson in lessons
        if lesson.machine.values.get(key, 0.0) > 0.0
    )


def _own_u(lesson: Lesson, shared: Sequence[str], ball: Ball, air: AirAround) -> float:
    """Return the uncertainty of a value with what belongs to its setup alone."""
    machine = lesson.machine
    centre = lesson.of(launch(machine, ball, air))
    variance = lesson.u**2 + (MODEL_SHARE * centre) ** 2
    for number in NUMBERS:
        u = machine.u.get(number.key, 0.0)
        if u > 0.0 and number.key in machine.values and number.key not in shared:
            value = machine.values[number.key]
            high, low = min(value + u, number.high), max(value - u, number.low)
            if high > low:
                swing = lesson.of(
                    launch(machine.having({number.key: high}), ball, air)
                ) - lesson.of(launch(machine.having({number.key: low}), ball, air))
                variance += (swing * u / (high - low)) ** 2
    return math.sqrt(variance)
