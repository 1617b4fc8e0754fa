"""Least squares with priors and Huber's weights, against the normal equations themselves."""

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.adjustment.reweighted import LONGEST_STEP, Priors, adjust_reweighted

RNG = np.random.default_rng(3)
DESIGN = RNG.normal(size=(40, 2, 3))
TRUTH = np.array([0.3, -0.2, 0.5])
NOISE = 0.1 * RNG.normal(size=(40, 2))
PRIORS = Priors(np.zeros(3), np.array([1.0, 0.4, 2.0]))


def linear(observed: np.ndarray):
    return lambda state: (observed - DESIGN @ state, DESIGN)


def solved(observed: np.ndarray, priors: Priors, without: int | None = None):
    """Solution and covariance by the normal equations, one parameter's prior left out if asked."""
    weight = priors.sd**-2.0
    if without is not None:
        weight = np.where(np.arange(3) == without, 0.0, weight)
    flat = DESIGN.reshape(-1, 3)
    covariance = np.linalg.inv(flat.T @ flat + np.diag(weight))
    return covariance @ (flat.T @ observed.reshape(-1) + weight * priors.mean), covariance


def test_a_linear_problem_is_solved_with_its_priors():
    observed = DESIGN @ TRUTH + NOISE
    fit = adjust_reweighted(linear(observed), np.zeros(3), PRIORS, rounds=6, knee=9.0, least=4)
    state, covariance = solved(observed, PRIORS)
    np.testing.assert_allclose(fit.state, state, rtol=1e-9)
    np.testing.assert_allclose(np.linalg.inv(fit.information), covariance, rtol=1e-9)


def test_a_prior_pulls_what_the_observations_leave_open():
    priors = Priors(np.array([1.0, -1.0, 0.2]), np.array([0.01, 0.01, 0.01]))
    observed = DESIGN @ TRUTH
    fit = adjust_reweighted(linear(observed), priors.mean, priors, rounds=12, knee=9e9, least=4)
    np.testing.assert_allclose(fit.state, solved(observed, priors)[0], rtol=1e-9)
    assert np.linalg.norm(fit.state - priors.mean) < 0.1 * np.linalg.norm(TRUTH - priors.mean)


@pytest.mark.parametrize("at", range(3))
def test_a_parameter_without_its_own_prior_is_that_of_the_other_observations(at):
    priors = Priors(np.array([0.6, 0.1, 0.1]), np.array([0.05, 0.05, 0.05]))
    observed = DESIGN @ TRUTH + NOISE
    fit = adjust_reweighted(linear(observed), priors.mean, priors, rounds=20, knee=9e9, least=4)
    value, variance = fit.without_prior(priors, at)
    state, covariance = solved(observed, priors, without=at)
    assert value == pytest.approx(state[at], rel=1e-9)
    assert variance == pytest.approx(covariance[at, at], rel=1e-9)


def test_a_parameter_that_only_its_prior_determines_has_no_finite_variance():
    design = DESIGN.copy()
    design[:, :, 0] = 0.0
    fit = adjust_reweighted(
        lambda state: (design @ TRUTH - design @ state, design),
        np.zeros(3),
        PRIORS,
        rounds=6,
        knee=9.0,
        least=4,
    )
    assert fit.without_prior(PRIORS, 0)[1] == float("inf")


def test_an_outlier_counts_by_the_first_power_of_its_distance():
    observed = DESIGN @ TRUTH + NOISE
    observed[0] += 400.0
    fit = adjust_reweighted(linear(observed), TRUTH, PRIORS, rounds=30, knee=2.0, least=4)
    assert np.linalg.norm(fit.state - TRUTH) < 0.2
    assert np.linalg.norm(solved(observed, PRIORS)[0] - TRUTH) > 2.0
    assert fit.distance[0] > 300.0


def test_steps_are_short_and_what_is_not_defined_is_left_out():
    observed = DESIGN @ TRUTH
    observed[3] = np.nan
    once = adjust_reweighted(
        linear(100.0 * observed), np.zeros(3), PRIORS, rounds=1, knee=9e9, least=4
    )
    np.testing.assert_allclose(np.abs(once.state), LONGEST_STEP * PRIORS.sd)
    assert len(once.distance) == 39
    with pytest.raises(NotDetermined):
        adjust_reweighted(linear(observed), np.zeros(3), PRIORS, rounds=1, knee=9.0, least=40)
