"""A hypothesis fitted to the candidates near it while the gate closes."""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.normal import weighted_step
from calibration.adjustment.robust import cauchy_weights
from tracker.following.hypothesis import Hypothesis, Pool, SearchContext, until_ground
from tracker.following.support import MISS, chance_and_miss, score

Array = NDArray[np.float64]

HELD = 0.1
"""Share of their prior standard uncertainty that drag and lift have while the widest gate is open:
a start some frames off would else bend to half of the candidates, and the closing gates would never
let the other half in again. Measured on drawn clips."""

FEWEST_STEPS, MOST_STEPS = 2, 8
"""Gauss-Newton steps with one gate: until they bring no more candidates in. What chance explains
better than a ball gets the fewest: more would only gather clutter."""

GROWTH, LEAST_GROWTH = 1.02, 1.0
"""Factor and amount by which the support must grow for another step with one gate."""

LEAST_CHOSEN, LEAST_CHOSEN_SHARE = 4.0, 0.08
"""Fewest candidates of a step, and their least share of the frames in view: seven parameters need
four positions."""

HOPELESS = -0.45
"""Log-likelihood ratio for each frame in view below which a refinement is given up. Chance gives
-0.5 to -1.2; a ball that shows in two frames of five gives -0.2 and more."""

FREE_U = 1e3
"""Prior standard uncertainty of what has no prior (s, m/s): none that matters."""

ASIDE_SHARE = 0.08
LIFT_U, SIDE_U = 0.05, 0.03
"""Prior standard uncertainties: speed across the firing line as a share of the speed, and both lift
coefficients. Common practice, no source."""

MOST_CHANGE, MOST_CHANGE_MPS, MOST_SHIFT_S = 0.3, 0.5, 0.3
"""Largest change of a velocity in one step, as a share of the speed plus m/s, and of the release
time, s: the linear model holds no further."""

DRAGS = (0.05, 1.5)
"""Bounds of the drag coefficient: no ball is outside."""


def refine(
    context: SearchContext,
    pool: Pool,
    hypothesis: Hypothesis,
    gates_px: tuple[float, ...],
    held: float = HELD,
) -> Hypothesis:
    """Return the flight fitted to the candidates near it, with the gate closing step by step.

    Release time, velocity, drag and lift are adjusted within their priors; candidates far off
    count less (Cauchy weights). `held` is the share of the prior standard uncertainties of drag and
    lift while the widest gate is open.
    """
    current = hypothesis
    hopeless = HOPELESS * chance_and_miss(context)[1] / MISS
    for number, gate in enumerate(gates_px):
        reached = -np.inf
        for step in range(MOST_STEPS):
            scored = score(context, pool, current, gate)
            assert scored.chosen is not None
            if (number > 0 or step >= 1) and scored.support < hopeless * scored.in_view:
                return scored
            grows = scored.support > max(GROWTH * reached, reached + LEAST_GROWTH, 0.0)
            if step >= FEWEST_STEPS and not grows:
                break
            reached = scored.support
            if len(scored.chosen) < max(LEAST_CHOSEN, LEAST_CHOSEN_SHARE * scored.in_view):
                return scored
            current = _step(context, pool, scored, gate, held if number == 0 else 1.0)
    return score(context, pool, current, gates_px[-1])


def _step(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis, gate_px: float, held: float
) -> Hypothesis:
    """Return one robust Gauss-Newton step on the chosen candidates.

    `held` multiplies the prior standard uncertainties of drag and lift.
    """
    assert hypothesis.chosen is not None
    residual, slope = residuals(context, pool, hypothesis, hypothesis.chosen)
    scale = max(1.0, gate_px / 6.0)
    distance = np.sqrt(np.sum(residual**2, axis=1))
    weight = cauchy_weights(distance, scale) / scale**2
    speed = float(np.linalg.norm(hypothesis.launch[3:6]))
    expected = np.array([0, 0, 0, 0, context.drag, 0.0, 0.0])
    now = np.concatenate([[0.0], hypothesis.launch[3:9]])
    own = held * np.array([context.drag_u, LIFT_U, SIDE_U])
    prior_u = np.array([FREE_U, FREE_U, ASIDE_SHARE * speed, FREE_U, *own])
    prior_residual = np.where(prior_u < FREE_U, expected - now, 0.0)
    step, _ = weighted_step(slope, residual, weight, prior_u, prior_residual)
    most = MOST_CHANGE * speed + MOST_CHANGE_MPS
    launch = hypothesis.launch.copy()
    launch[3:9] += np.clip(step[1:], -most, most)
    launch[6] = np.clip(launch[6], *DRAGS)
    release = hypothesis.release_s + float(np.clip(step[0], -MOST_SHIFT_S, MOST_SHIFT_S))
    return Hypothesis(release, launch, until_ground(context, launch))


def residuals(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis, chosen: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Return residuals (N, 2) and slopes (N, 2, 7) of chosen candidates by what is refined."""
    times = pool.frame_times_s[pool.owner[chosen]] - hypothesis.release_s
    states, by_launch = hypothesis.trajectory.positions_with_sensitivities(times)
    pixels, by_point, _ = context.camera.project_with_jacobians(states[:, :3])
    by_release = -np.einsum("nij,nj->ni", by_point, states[:, 3:6])[:, :, None]
    slope = np.concatenate([by_release, by_point @ by_launch[:, :, 3:9]], axis=2)
    return pool.pixels[chosen] - pixels, slope
