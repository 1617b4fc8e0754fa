"""What the shots of all setups say of each machine, shot or not."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.comparison.answer import Expected
from tracker.comparison.built import Setup
from tracker.comparison.carries import CarryRatios, carry_ratios
from tracker.comparison.setups import Summary, summarise
from tracker.launcher.discharge import Discharge
from tracker.launcher.learning import Learning, Lesson, Posterior
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import (
    Outdoors,
    Prediction,
    carry_from,
    discharges_of,
    exit_draws,
    predict_all,
)
from tracker.launcher.sweep import Sweep, changed, check_gaps
from tracker.statistics.components import Estimate

PREDICTED = ("carry_m", "exit_speed_mps")
"""Quantities that the launcher's model predicts."""

BORROWED_DOF = 4.0
"""Weight of the scatter of all setups in that of one, in degrees of freedom: five shots know their
scatter to a third of itself, and setups of one launcher scatter alike (common practice, no
source; an empirical Bayes variance as G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3, 2004)."""


@dataclass(frozen=True)
class LeftOut:
    """A measured setup's exit speed predicted from the shots of the others.

    Attributes
    ----------
    name : str
    measured, predicted : Estimate
    """

    name: str
    measured: Estimate
    predicted: Estimate

    @property
    def error(self) -> Estimate:
        """Predicted less measured."""
        return Estimate(
            self.predicted.value - self.measured.value,
            math.hypot(self.predicted.u, self.measured.u),
        )


class Knowledge:
    """The model of the launcher with the shots of its setups.

    Parameters
    ----------
    setups : sequence of Setup
        Those with another ball than the first are left out.
    use_shots : bool
        False leaves the model as the setups state it.
    """

    def __init__(self, setups: Sequence[Setup], use_shots: bool = True) -> None:
        ball = setups[0].outdoors.ball if setups else None
        self.setups = tuple(
            setup for setup in setups if setup.machine is not None and setup.outdoors.ball == ball
        )
        self.lessons = lessons_of(self.setups) if use_shots else []
        self.places = {lesson.name: place for place, lesson in enumerate(self.lessons)}
        shown = [(setup.shots, setup.outdoors) for setup in self.setups] if use_shots else []
        self.ratios: CarryRatios = carry_ratios(shown)
        self._learning: Learning | None = None
        self._posteriors: dict[str, Posterior] = {}
        self._predictions: dict[str, Prediction] = {}

    @property
    def learning(self) -> Learning:
        """The draws of the model."""
        if self._learning is None:
            outdoors = self.setups[0].outdoors
            machines = [setup.machine for setup in self.setups if setup.machine is not None]
            self._learning = Learning(self.lessons, outdoors.ball, outdoors.around, machines)
        return self._learning

    def posterior(self, without: str = "") -> Posterior:
        """Return the model given all lessons, or all but one."""
        if without not in self._posteriors:
            wanted = [i for name, i in self.places.items() if name != without]
            self._posteriors[without] = self.learning.posterior(wanted)
        return self._posteriors[without]

    def predictions(self) -> dict[str, Prediction]:
        """Return the prediction of every setup with a machine, from all shots, its own included."""
        if self.setups and not self._predictions:
            machines = [setup.machine for setup in self.setups if setup.machine is not None]
            outdoors = [self._outdoors(setup) for setup in self.setups]
            same_as = [self.places.get(setup.name) for setup in self.setups]
            found = predict_all(machines, outdoors, self.posterior(), same_as)
            self._predictions = {
                setup.name: self._with_own_carry(setup, made)
                for setup, made in zip(self.setups, found, strict=True)
            }
        return self._predictions

    def discharges(self) -> dict[str, Discharge]:
        """Return the shots on one charge of every setup whose battery is known."""
        machines = [setup.machine for setup in self.setups if setup.machine is not None]
        if not machines:
            return {}
        found = discharges_of(machines, self.posterior())
        pairs = zip(self.setups, found, strict=True)
        return {setup.name: one for setup, one in pairs if one is not None}

    def along(self, base: Setup, sweep: Sweep) -> tuple[Prediction, ...]:
        """Return the predictions of a setup's machine at every value of a sweep."""
        assert base.machine is not None
        check_gaps(sweep, 1e3 * base.outdoors.ball.diameter_m)
        machines = [changed(base.machine, sweep.key, value) for value in sweep.values]
        return self.machines(base, machines)

    def machines(self, base: Setup, machines: Sequence[Machine]) -> tuple[Prediction, ...]:
        """Return the predictions of machines that are shot as a setup is."""
        outdoors = [self._outdoors(base)] * len(machines)
        return tuple(predict_all(machines, outdoors, self.posterior()))

    def by_others(self, quantity: str) -> dict[str, Estimate]:
        """Return each shot setup's mean predicted from its tables and the other setups' shots."""
        found = {}
        for setup in self.setups if quantity in PREDICTED else ():
            if setup.machine is None or not setup.shots.shots:
                continue
            if quantity == "exit_speed_mps":
                found[setup.name] = self._speed_by_others(setup)
                continue
            outdoors = replace(setup.outdoors, carry_factor=self.ratios.factor(setup.name))
            carry = carry_from(self._speed_by_others(setup), outdoors)
            if carry is not None:
                found[setup.name] = carry
        return found

    def expected(self, quantity: str) -> dict[str, Expected]:
        """Return what is expected of the setups without a measured mean, their draws together.

        Those that were not shot, and those of which one shot counts: it teaches the model.
        """
        mine = [
            setup
            for setup in self.setups
            if quantity in PREDICTED and setup.shots.used(quantity) < 2
        ]
        if not mine:
            return {}
        machines = [setup.machine for setup in mine if setup.machine is not None]
        same_as = [self.places.get(setup.name) for setup in mine]
        speeds, _ = exit_draws(machines, self.posterior(), same_as)
        found = {}
        for setup, draws in zip(mine, speeds.T, strict=True):
            out = draws[draws > 0.0]
            if not out.size:
                continue
            speed = Estimate(float(out.mean()), float(out.std()))
            carry = carry_from(speed, self._outdoors(setup))
            value = speed if quantity == "exit_speed_mps" else carry
            if value is not None:
                found[setup.name] = Expected(value, (draws - draws.mean()) / max(draws.std(), 1e-9))
        return found

    def left_out(self) -> tuple[LeftOut, ...]:
        """Return each measured setup predicted from the others; empty for fewer than three.

        Source: M. Stone, Journal of the Royal Statistical Society B 36, 111 (1974).
        """
        if len(self.lessons) < 3:
            return ()
        return tuple(
            LeftOut(setup.name, measured, self._speed_by_others(setup))
            for setup in self.setups
            if setup.name in self.places and (measured := setup.mean("exit_speed_mps")) is not None
        )

    def _speed_by_others(self, setup: Setup) -> Estimate:
        assert setup.machine is not None
        speeds, _ = exit_draws([setup.machine], self.posterior(setup.name))
        out = speeds[speeds > 0.0]
        return Estimate(float(out.mean()), float(out.std())) if out.size else Estimate(0.0, 0.0)

    def _outdoors(self, setup: Setup) -> Outdoors:
        return replace(setup.outdoors, carry_factor=self.ratios.factor())

    def _with_own_carry(self, setup: Setup, made: Prediction) -> Prediction:
        """Return a prediction whose carry is at least as good as the mean of the setup's shots.

        The better of the two is taken: both rest on the same shots and must not be averaged.
        """
        mean = setup.mean("carry_m") if setup.name in self.places else None
        if mean is None or made.carry is None or made.carry.u <= mean.u:
            return made
        return replace(made, carry=mean)


def lessons_of(setups: Sequence[Setup]) -> list[Lesson]:
    """Return the measured exit speeds of the setups that have a machine.

    The scatter of a setup's shots is pooled in part with that of the others, in proportion to the
    exit speed; with it a single shot counts too.
    """
    summaries = [summarise(setup.shots, "exit_speed_mps", remarks=False) for setup in setups]
    parts = [
        (sample.dof, (sample.sd / sample.mean) ** 2)
        for summary in summaries
        if (sample := summary.sample) is not None and sample.scatters and sample.mean > 0.0
    ]
    if not parts:
        return []
    pooled = sum(dof * square for dof, square in parts) / sum(dof for dof, _ in parts)
    lessons = []
    for setup, summary in zip(setups, summaries, strict=True):
        sample = summary.sample
        if setup.machine is None or sample is None or sample.mean <= 0.0:
            continue
        own = sample.dof * (sample.sd / sample.mean) ** 2 if sample.scatters else 0.0
        variance = (BORROWED_DOF * pooled + own) / (BORROWED_DOF + sample.dof)
        u = sample.mean * math.sqrt(max(variance, 1e-8) / sample.count)
        lessons.append(Lesson(setup.name, setup.machine, sample.mean, u, _shared(summary)))
    return lessons


def _shared(summary: Summary) -> dict[str, float]:
    """Return by outing the relative uncertainty that its calibration gives to a setup's mean."""
    if summary.sample is None:
        return {}
    each = summary.shared_u / summary.weights.spread / summary.sample.mean
    relative = np.abs(each * summary.weights.array).tolist()
    return dict(zip(summary.weights, relative, strict=True))
