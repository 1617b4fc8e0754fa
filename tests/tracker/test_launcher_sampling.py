"""Importance sampling where a model explains the same measurement in more than one way."""

import math

import numpy as np
import pytest

from tracker.launcher.sampling import latin_normal, normalised, posterior_draws, resampled


def posterior(likelihood, size: int) -> np.ndarray:
    logs = []

    def kept(draws):
        logs.append(likelihood(draws))
        return logs[-1]

    draws, bases = posterior_draws(kept, size)
    return draws[resampled(normalised(bases + np.concatenate(logs)))]


def test_a_straight_model_has_the_textbook_answer() -> None:
    """One value y = 2 with u = 0.5 of x1 + x2, both known to 1: mean and covariance."""
    draws = posterior(lambda x: -0.5 * ((2.0 - x.sum(axis=1)) / 0.5) ** 2, 2)
    gain = np.array([1.0, 1.0]) / (2.0 + 0.25)
    np.testing.assert_allclose(draws.mean(axis=0), 2.0 * gain, atol=0.08)
    covariance = np.eye(2) - np.outer(gain, [1.0, 1.0])
    np.testing.assert_allclose(np.cov(draws.T), covariance, atol=0.1)


def test_both_ways_of_explaining_are_kept() -> None:
    """|x| measured as 1.5: draws around one of the two would lose half of the truth."""
    draws = posterior(lambda x: -0.5 * ((1.5 - np.abs(x[:, 0])) / 0.2) ** 2, 1)[:, 0]
    assert 0.4 < (draws > 0.0).mean() < 0.6
    # Prior 1, measurement 0.2: each way at 1.5 / 1.04 with 0.2 / sqrt(1.04).
    assert np.abs(draws).mean() == pytest.approx(1.5 / 1.04, abs=0.04)
    assert np.abs(draws).std() == pytest.approx(0.2 / math.sqrt(1.04), rel=0.15)


def test_a_limit_that_hides_the_unknown_leaves_its_prior_above() -> None:
    """min(x, 0) measured as 0: only x below zero is excluded."""
    draws = posterior(lambda x: -0.5 * (np.minimum(x[:, 0], 0.0) / 0.05) ** 2, 1)[:, 0]
    assert (draws > -0.15).mean() > 0.98
    # Half a normal distribution: mean sqrt(2 / pi).
    assert draws.mean() == pytest.approx(math.sqrt(2.0 / math.pi), abs=0.12)


def test_a_sharp_measurement_far_out_in_many_dimensions_is_found() -> None:
    """Twelve unknowns, their sum 3 standard deviations out and known to 2 % of its spread."""
    size, spread = 12, math.sqrt(12.0)
    draws = posterior(
        lambda x: -0.5 * ((x.sum(axis=1) - 3.0 * spread) / (0.02 * spread)) ** 2, size
    )
    sums = draws.sum(axis=1)
    assert sums.mean() == pytest.approx(3.0 * spread, abs=0.03 * spread)
    # Each keeps nearly its prior spread.
    assert draws.std(axis=0).mean() == pytest.approx(0.96, abs=0.15)


def test_draws_are_the_same_every_time() -> None:
    def likelihood(x):
        return -0.5 * ((1.0 - x[:, 0] ** 2) / 0.3) ** 2

    np.testing.assert_array_equal(posterior(likelihood, 1), posterior(likelihood, 1))


def test_latin_draws_are_even_along_every_axis() -> None:
    draws = latin_normal(200, 5, np.random.default_rng(3))
    np.testing.assert_allclose(draws.mean(axis=0), 0.0, atol=1e-9)
    np.testing.assert_allclose(draws.std(axis=0), 1.0, atol=0.01)
    assert np.abs(np.corrcoef(draws.T) - np.eye(5)).max() < 0.25
