"""What shots say of the model: its numbers, and what it leaves out.

Every uncertain number that all setups share gets one factor, 1 before any shot, known to the
uncertainty that the setups state. Numbers that differ from setup to setup keep their own
uncertainty. What the model leaves out is a factor on the exit speed that like machines share
(`tracker.launcher.discrepancy`). Measured exit speeds, with the error that an outing's calibration
gives to all of them, weigh draws of the factors.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tracker.flight.ball import Ball
from tracker.launcher.arrays import Array
from tracker.launcher.discrepancy import SIZE_CHANCES, SIZES, Features, features_of
from tracker.launcher.fields import NUMBERS
from tracker.launcher.fleet import corrected, together
from tracker.launcher.machine import Machine
from tracker.launcher.sampling import (
    KEPT,
    latin_normal,
    normalised,
    posterior_draws,
    resampled,
)
from tracker.launcher.shot import launch
from tracker.launcher.spinning import STILL_ROOM, AirAround, running

UNUSED = ("battery.capacity_ah", "battery.usable_percent", "battery.interval_s")
"""Numbers that no exit speed depends on."""

MOST_PLACES = 2000
"""Machines whose place is remembered: more than any session or map has; sliders make new ones for
as long as a page is open."""

STUCK = -20.0
"""Logarithm of the speed of a ball that sticks, so that a measured one excludes it."""


@dataclass(frozen=True)
class Lesson:
    """The measured mean exit speed of one setup.

    Attributes
    ----------
    name : str
    machine : Machine
    value : float
        m/s.
    u : float
        Standard uncertainty from the scatter of its own shots.
    shared : mapping of str to float
        By outing the relative standard uncertainty that its calibration gives to the mean.
    """

    name: str
    machine: Machine
    value: float
    u: float
    shared: Mapping[str, float] = field(default_factory=dict)


def own_spread(
    machines: Sequence[Machine], shared: Sequence[str], ball: Ball, air: AirAround
) -> list[float]:
    """Return the relative uncertainty of the exit speed from each machine's own numbers.

    To first order, by differences over one standard uncertainty to either side (GUM equation 13).
    """
    keys = [_own_keys(machine, shared) for machine in machines]
    count = 2 * max((len(each) for each in keys), default=0)
    if count == 0:
        return [0.0] * len(machines)
    varied = [_varied(one, names, count) for one, names in zip(machines, keys, strict=True)]
    found = [0.0] * len(machines)
    for indices, fleet in together(varied, count):
        speeds = launch(fleet, ball, air).exit.speed_mps.reshape(len(indices), count)
        for index, mine in zip(indices, speeds, strict=True):
            swings = 0.5 * (mine[::2] - mine[1::2]) / max(float(np.median(mine)), 1e-9)
            found[index] = min(float(np.sqrt(np.sum(swings**2))), 1.0)
    return found


def _own_keys(machine: Machine, shared: Sequence[str]) -> list[str]:
    """Return the uncertain numbers that a machine does not share."""
    return [
        number.key
        for number in NUMBERS
        if machine.u.get(number.key, 0.0) > 0.0
        and number.key in machine.values
        and number.key not in (*shared, *UNUSED)
    ]


def _varied(machine: Machine, keys: Sequence[str], count: int) -> Machine:
    """Return a machine with one of the numbers changed in each pair of its draws."""
    changes = {}
    for place, key in enumerate(keys):
        value = np.full(count, float(machine.values[key]))
        value[2 * place] += machine.u[key]
        value[2 * place + 1] = max(value[2 * place + 1] - machine.u[key], 0.1 * value[0])
        changes[key] = value
    return machine.having(changes)


class Places:
    """Where machines stand in the discrepancy, each computed once.

    Parameters
    ----------
    shared : sequence of str
        Numbers that have a factor.
    ball, air
        As for `learn`.
    """

    def __init__(self, shared: Sequence[str], ball: Ball, air: AirAround) -> None:
        self.shared, self.ball, self.air = shared, ball, air
        self._known: dict[int, tuple[Machine, float, float]] = {}

    def of(self, machines: Sequence[Machine]) -> Features:
        """Return where machines stand, and the scatter from their own numbers."""
        if len(self._known) > MOST_PLACES:
            self._known.clear()
        fresh = list({id(one): one for one in machines if id(one) not in self._known}.values())
        own = own_spread(fresh, self.shared, self.ball, self.air)
        for indices, fleet in together(fresh, 1):
            speeds = np.asarray(running(fleet, self.air).speeds_radps[0]).reshape(-1)
            for index, speed in zip(indices, speeds, strict=True):
                one = fresh[index]
                self._known[id(one)] = (one, float(speed), own[index])
        found = [self._known[id(machine)] for machine in machines]
        speeds_, own_ = [speed for _, speed, _ in found], [u for *_, u in found]
        return features_of(machines, speeds_, own_, self.ball)


@dataclass(frozen=True)
class Posterior:
    """Draws of the factors and of the discrepancy's size, equally likely.

    Attributes
    ----------
    keys : tuple of str
        Numbers that have a factor.
    priors : ndarray, shape (N,)
        Standard uncertainty of the logarithm of each before any shot.
    logs : ndarray, shape (K, N)
        Natural logarithms of the factors.
    sizes : ndarray of int, shape (K,)
        Index into `SIZES` for each draw.
    lessons : tuple of Lesson
    errors : ndarray, shape (S, S)
        Covariance of the errors of the lessons' log exit speeds.
    features : Features
        Of the lessons' machines.
    misses : ndarray, shape (K, S)
        Logarithm of measured over modelled exit speed.
    places : Places
        Of any machine, with the ball and the air of the lessons.
    """

    keys: tuple[str, ...]
    priors: Array
    logs: Array
    sizes: np.ndarray
    lessons: tuple[Lesson, ...]
    errors: Array
    features: Features
    misses: Array
    places: Places

    def fleet(self, machine: Machine) -> Machine:
        """Return a machine with its numbers corrected, one for each draw."""
        return corrected(machine, self.keys, self.logs)

    def thinned(self, every: int) -> "Posterior":
        """Return one draw in `every`, for what needs the means of many machines."""
        kept = slice(None, None, every)
        return replace(self, logs=self.logs[kept], sizes=self.sizes[kept], misses=self.misses[kept])

    def factors(self, features: Features, same_as: Sequence[int | None]) -> Array:
        """Return draws of the logarithm of the discrepancy of machines, shape (K, J).

        Parameters
        ----------
        features : Features
        same_as : sequence of int or None
            For each machine the lesson that was measured with it.

        Notes
        -----
        The Gaussian process given the lessons' misses, by draws: mean by the gain, scatter by the
        square root of the remaining covariance. A machine that was measured has its lesson's own
        part too.
        """
        count, size, kept = len(self.lessons), len(same_as), len(self.sizes)
        rng = np.random.default_rng(size)
        noise = latin_normal(kept, size, rng)
        found = np.zeros((kept, size))
        both = self.features.joined(features)
        for place in np.unique(self.sizes):
            mine = self.sizes == place
            covariance = both.covariance(SIZES[place])
            for column, lesson in enumerate(same_as):
                if lesson is not None:
                    covariance[count + column, :] = covariance[lesson, :]
                    covariance[:, count + column] = covariance[:, lesson]
                    covariance[count + column, count + column] = covariance[lesson, lesson]
            seen = covariance[:count, :count] + self.errors
            across = covariance[count:, :count]
            gain = np.linalg.solve(seen, across.T).T if count else across
            left = covariance[count:, count:] - gain @ across.T
            values, vectors = np.linalg.eigh(left)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            found[mine] = self.misses[mine] @ gain.T + noise[mine] @ root.T
        return found


def error_covariance(lessons: Sequence[Lesson]) -> Array:
    """Return the covariance of the measuring errors of log exit speeds, shape (S, S).

    The scatter of each setup's shots alone; the calibration of an outing for all its setups.
    """
    own = np.diag([(lesson.u / lesson.value) ** 2 for lesson in lessons]).reshape(
        len(lessons), len(lessons)
    )
    outings = sorted({name for lesson in lessons for name in lesson.shared})
    shares = np.array(
        [[lesson.shared.get(name, 0.0) for name in outings] for lesson in lessons]
    ).reshape(len(lessons), len(outings))
    return np.asarray(own + shares @ shares.T)


def shared_keys(machines: Sequence[Machine]) -> tuple[str, ...]:
    """Return the uncertain numbers that one factor serves in all machines.

    Those that shots may correct, and those that are the same in every setup.
    """
    found = []
    for number in NUMBERS:
        values = {
            float(machine.values[number.key])
            for machine in machines
            if machine.values.get(number.key, 0.0) > 0.0 and machine.u.get(number.key, 0.0) > 0.0
        }
        alike = number.learned or (len(values) == 1 and len(machines) > 1)
        if values and alike and number.key not in UNUSED:
            found.append(number.key)
    return tuple(found)


def relative_prior(machines: Sequence[Machine], key: str) -> float:
    """Return the relative uncertainty that the machines state, the greatest of them."""
    return max(
        machine.u[key] / float(machine.values[key])
        for machine in machines
        if machine.values.get(key, 0.0) > 0.0
    )


def learn(
    lessons: Sequence[Lesson],
    ball: Ball,
    air: AirAround = STILL_ROOM,
    machines: Sequence[Machine] = (),
) -> Posterior:
    """Return what the measured setups say of the model; without lessons, the prior.

    Parameters
    ----------
    lessons : sequence of Lesson
    ball : Ball
    air : AirAround
    machines : sequence of Machine
        Others that are to be predicted with it: numbers that all share have one factor.
    """
    return Learning(lessons, ball, air, machines).posterior(range(len(lessons)))


class Learning:
    """Draws of the model for a set of lessons, to be weighed by all or some of them.

    Parameters
    ----------
    lessons, ball, air, machines
        As for `learn`.
    """

    def __init__(
        self,
        lessons: Sequence[Lesson],
        ball: Ball,
        air: AirAround = STILL_ROOM,
        machines: Sequence[Machine] = (),
    ) -> None:
        self.lessons, self.ball, self.air = tuple(lessons), ball, air
        mine = [lesson.machine for lesson in lessons]
        everything = (*mine, *machines)
        self.keys = shared_keys(everything)
        self.priors = np.array([relative_prior(everything, key) for key in self.keys])
        self.places = Places(self.keys, ball, air)
        self.features = self.places.of(mine)
        self.errors = error_covariance(self.lessons)
        self.measured = np.log([lesson.value for lesson in lessons])
        modelled: list[Array] = []

        def likelihood(draws: Array) -> Array:
            modelled.append(self._model(draws))
            by_size = self._by_size(modelled[-1], range(len(mine)))
            return np.asarray(np.logaddexp.reduce(by_size, axis=1))

        self.draws, self.bases = posterior_draws(likelihood, len(self.keys))
        self.modelled = np.vstack(modelled)

    def posterior(self, chosen: Sequence[int]) -> Posterior:
        """Return the posterior given some of the lessons, by their indices.

        The draws of all lessons are weighed by the chosen ones alone.
        """
        picked = list(chosen)
        by_size = self._by_size(self.modelled, picked)
        kept = resampled(normalised(self.bases + np.logaddexp.reduce(by_size, axis=1)))
        ladder = np.cumsum(normalised(by_size[kept]), axis=1)
        places = (np.arange(KEPT) + 0.5) / KEPT
        places = np.random.default_rng(len(picked)).permutation(places)
        return Posterior(
            self.keys,
            self.priors,
            self.draws[kept] * self.priors,
            np.minimum((ladder < places[:, None]).sum(axis=1), len(SIZES) - 1),
            tuple(self.lessons[i] for i in picked),
            self.errors[np.ix_(picked, picked)],
            self.features.of(picked),
            self.measured[picked] - self.modelled[kept][:, picked],
            self.places,
        )

    def _by_size(self, modelled: Array, chosen: Sequence[int]) -> Array:
        """Return the logarithm of the likelihood with each size of the discrepancy, (N, sizes)."""
        picked = list(chosen)
        errors = self.errors[np.ix_(picked, picked)]
        miss = self.measured[picked] - modelled[:, picked]
        columns = []
        for chance, size in zip(SIZE_CHANCES, SIZES, strict=True):
            inverse = np.linalg.inv(self.features.of(picked).covariance(size) + errors)
            scale = 0.5 * np.linalg.slogdet(inverse)[1] if picked else 0.0
            square = np.einsum("ni,ni->n", miss @ inverse, miss)
            columns.append(math.log(chance) + scale - 0.5 * square)
        return np.column_stack(columns)

    def _model(self, draws: Array) -> Array:
        """Return the logarithm of the modelled exit speed of each lesson, shape (N, S)."""
        count = len(draws)
        machines = [
            corrected(lesson.machine, self.keys, draws * self.priors) for lesson in self.lessons
        ]
        found = np.zeros((count, len(machines)))
        for indices, fleet in together(machines, count):
            speeds = launch(fleet, self.ball, self.air).exit.speed_mps
            logs = np.where(speeds > 0.0, np.log(np.maximum(speeds, 1e-9)), STUCK)
            found[:, indices] = logs.reshape(len(indices), count).T
        return found
