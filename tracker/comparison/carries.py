"""How far shots carried, against what the flight model makes of their own exit speeds."""

import math
from collections.abc import Sequence

from tracker.comparison.setups import SetupShots, figure
from tracker.launcher.carry import carry_of
from tracker.launcher.prediction import Outdoors
from tracker.statistics.components import Estimate, random_effects_mean
from tracker.statistics.means import sample_of

LEAST_U = 0.003
"""No mean ratio is better known than this: both figures come from one fit of one film."""


def carry_factor(setups: Sequence[tuple[SetupShots, Outdoors]]) -> Estimate | None:
    """Return what to multiply a predicted carry by, for a setup that was not shot yet.

    Drag, wind and the launch angle that the release says are uncertain before a shot, and show
    in the ratio of measured carry to the one that the model makes of the measured exit speed.

    Parameters
    ----------
    setups : sequence of (SetupShots, Outdoors)

    Returns
    -------
    Estimate or None
        With the scatter from setup to setup; None where no setup has two shots that tell.

    Notes
    -----
    Mean over setups by Paule and Mandel (1982). From one setup alone nobody knows how setups
    differ: its own scatter from shot to shot is taken.
    """
    means, errors, scatters = [], [], []
    for setup, outdoors in setups:
        ratios = _ratios(setup, outdoors)
        if len(ratios) > 1:
            sample = sample_of(ratios)
            means.append(sample.mean)
            errors.append(max(sample.u, LEAST_U))
            scatters.append(sample.sd)
    if not means:
        return None
    if len(means) == 1:
        return Estimate(means[0], math.hypot(errors[0], scatters[0]))
    found = random_effects_mean(means, errors)
    return Estimate(found.mean.value, math.hypot(found.mean.u, found.between_sd))


def _ratios(setup: SetupShots, outdoors: Outdoors) -> list[float]:
    if outdoors.release is None:
        return []
    ratios = []
    for shot in setup.shots:
        speed, carry = figure(shot, "exit_speed_mps"), figure(shot, "carry_m")
        if speed is None or carry is None:
            continue
        modelled = carry_of(speed, 0.0, outdoors.release, outdoors.ball, outdoors.air)
        if modelled is not None and modelled.carry_m > 0.0:
            ratios.append(carry / modelled.carry_m)
    return ratios
