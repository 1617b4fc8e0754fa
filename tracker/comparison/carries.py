"""Measured carries against those that the flight model gives for the measured exit speeds."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.comparison.setups import SetupShots
from tracker.launcher.many_carries import Flights, many_carries
from tracker.launcher.prediction import Outdoors
from tracker.statistics.components import Estimate, random_effects_mean
from tracker.statistics.means import Sample, sample_of

LEAST_U = 0.003
"""Least standard uncertainty of a mean ratio: both figures come from one fit of one film, whose
model of the air is that good (common practice, no source)."""


@dataclass(frozen=True)
class CarryRatios:
    """Measured over modelled carry of the shots of each setup.

    Attributes
    ----------
    samples : mapping of str to Sample
        By setup; only those with two shots or more.
    """

    samples: Mapping[str, Sample]

    def factor(self, without: str = "") -> Estimate | None:
        """Return the factor on the predicted carry of a setup that was not shot yet.

        Drag, wind and the launch angle are uncertain before a shot, and show in the ratio.

        Parameters
        ----------
        without : str
            A setup that is left out.

        Returns
        -------
        Estimate or None
            With the scatter from setup to setup; None where no setup has two shots.

        Notes
        -----
        Mean over setups by Paule and Mandel (1982). With one setup alone its scatter from shot to
        shot stands for that between setups.
        """
        samples = [sample for name, sample in self.samples.items() if name != without]
        if not samples:
            return None
        errors = [max(sample.u, LEAST_U) for sample in samples]
        if len(samples) == 1:
            return Estimate(samples[0].mean, math.hypot(errors[0], samples[0].sd))
        found = random_effects_mean([sample.mean for sample in samples], errors)
        return Estimate(found.mean.value, math.hypot(found.mean.u, found.between_sd))


def carry_ratios(setups: Sequence[tuple[SetupShots, Outdoors]]) -> CarryRatios:
    """Return measured over modelled carry for the shots of setups with a known release."""
    if not setups:
        return CarryRatios({})
    ball, air = setups[0][1].ball, setups[0][1].air
    samples = {}
    for setup, outdoors in setups:
        if outdoors.release is None:
            continue
        speeds, carries = setup.figures("exit_speed_mps"), setup.figures("carry_m")
        counts = (speeds > 0.0) & np.isfinite(carries)
        flights = Flights.alike(speeds[counts], outdoors.release)
        modelled = many_carries(flights, ball, [air])
        ratios = carries[counts][modelled > 0.0] / modelled[modelled > 0.0]
        if ratios.size > 1:
            samples[setup.name] = sample_of(ratios)
    return CarryRatios(samples)
