"""Belief where a model explains the same measurement in more than one way."""

import math

import numpy as np
import pytest

from tracker.launcher.belief import believe, latin_normal


def test_a_straight_model_has_the_textbook_answer() -> None:
    """One value y = 2 with u = 0.5 of x1 + x2, both known to 1: mean and covariance."""

    def model(x):
        return np.array([(2.0 - x.sum()) / 0.5, *x]), 0

    found = believe(model, 2)
    gain = np.array([1.0, 1.0]) / (2.0 + 0.25)
    np.testing.assert_allclose(found.best, 2.0 * gain, atol=1e-4)
    covariance = np.eye(2) - np.outer(gain, [1.0, 1.0])
    np.testing.assert_allclose(np.cov(found.draws.T), covariance, atol=0.1)
    np.testing.assert_allclose(found.draws.mean(axis=0), 2.0 * gain, atol=0.08)


def test_both_ways_of_explaining_are_believed() -> None:
    """|x| measured as 1.5: a belief with one hump would lose half of the truth."""

    def model(x):
        return np.array([(1.5 - abs(x[0])) / 0.2, *x]), bool(x[0] > 0.0)

    found = believe(model, 1)
    share = (found.draws[:, 0] > 0.0).mean()
    assert 0.4 < share < 0.6
    # Prior 1, measurement 0.2: each hump at 1.5 / 1.04 with 0.2 / sqrt(1.04).
    assert np.abs(found.draws).mean() == pytest.approx(1.5 / 1.04, abs=0.04)
    assert np.abs(found.draws).std() == pytest.approx(0.2 / math.sqrt(1.04), rel=0.15)


def test_a_limit_that_hides_the_unknown_leaves_its_prior_above() -> None:
    """min(x, 0) measured as 0: only x below zero is excluded."""

    def model(x):
        return np.array([-min(x[0], 0.0) / 0.05, *x]), bool(x[0] > 0.0)

    draws = believe(model, 1).draws[:, 0]
    assert (draws > -0.15).mean() > 0.98
    # Half a normal distribution: mean sqrt(2 / pi).
    assert draws.mean() == pytest.approx(math.sqrt(2.0 / math.pi), abs=0.12)


def test_belief_is_the_same_every_time() -> None:
    def model(x):
        return np.array([(1.0 - x[0] ** 2) / 0.3, *x]), bool(x[0] > 0.0)

    np.testing.assert_array_equal(believe(model, 1).draws, believe(model, 1).draws)


def test_latin_draws_are_even_along_every_axis() -> None:
    draws = latin_normal(200, 5, np.random.default_rng(3))
    np.testing.assert_allclose(draws.mean(axis=0), 0.0, atol=1e-9)
    np.testing.assert_allclose(draws.std(axis=0), 1.0, atol=0.01)
    assert np.abs(np.corrcoef(draws.T) - np.eye(5)).max() < 0.25
