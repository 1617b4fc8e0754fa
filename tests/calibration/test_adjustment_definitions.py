"""The iteration's own rules, and the measures of a result, against their definitions."""

import numpy as np
import pytest

from calibration.adjustment import least_squares
from calibration.adjustment.least_squares import Limits, _relaxed, adjust
from calibration.adjustment.normal import (
    column_lengths,
    covariance_of,
    damped_step,
    inverse_of_normal,
    weighted_step,
)
from calibration.adjustment.reliability import (
    falls_of_chi_square,
    redundancy_numbers,
    smallest_findable,
    w_values,
)
from calibration.adjustment.reweighted import Priors, adjust_reweighted
from calibration.adjustment.robust import huber_weights, tukey_weights

RNG = np.random.default_rng(11)
SLOPE = RNG.normal(size=(9, 3)) * np.array([1e-3, 1.0, 50.0])
OBSERVED = RNG.normal(size=9)


def line(at):
    return OBSERVED - SLOPE @ at, SLOPE


def test_a_column_without_length_is_left_as_it_is():
    slope = np.array([[0.3, 0.0, 3.0], [0.4, 0.0, 4.0]])
    assert column_lengths(slope) == pytest.approx([0.5, 1.0, 5.0])


def test_a_matrix_that_cannot_be_solved_gives_the_shortest_step():
    step, fall = damped_step(np.array([[-1e-14]]), np.array([2.0]), 0.0)
    assert step == pytest.approx([0.0]) and fall == pytest.approx(0.0)


@pytest.mark.parametrize("damping", [0.0, 1e-3, 10.0])
def test_a_damped_step_and_the_fall_that_it_predicts(damping):
    normal, gradient = SLOPE.T @ SLOPE, SLOPE.T @ OBSERVED
    step, fall = damped_step(normal, gradient, damping)
    np.testing.assert_allclose((normal + damping * np.eye(3)) @ step, gradient, rtol=1e-6)
    costs = [np.sum((OBSERVED - SLOPE @ at) ** 2) for at in (np.zeros(3), step)]
    assert fall == pytest.approx(costs[0] - costs[1], rel=1e-6)


def test_a_short_step_by_damping_alone_does_not_end_the_iteration():
    found = adjust(line, np.zeros(3), np.ones(9), limits=Limits(damping=1e14))
    best = np.linalg.lstsq(SLOPE, OBSERVED, rcond=None)[0]
    assert found.settled and found.iterations >= 2
    np.testing.assert_allclose(found.state, best, rtol=1e-6)


def test_a_rejected_step_raises_the_damping_ever_faster(monkeypatch):
    """By two, four, eight; after a Gauss-Newton step from a billionth on."""
    seen = []
    own = least_squares.damped_step

    def noted(normal, gradient, damping):
        seen.append(damping)
        return own(normal, gradient, damping)

    monkeypatch.setattr(least_squares, "damped_step", noted)

    def uphill(at):
        # Wherever a step leads it is worse, though the slope says otherwise.
        return np.array([1.0 + 1e6 * abs(float(at[0]))]), np.array([[1.0]])

    for first, expected in (
        (1e-3, [1e-3, 2e-3, 8e-3, 64e-3]),
        (0.0, [0.0, 2e-9, 8e-9, 64e-9]),
    ):
        seen.clear()
        found = adjust(
            uphill, np.zeros(1), np.ones(1), limits=Limits(iterations=4, damping=first, step=1e-9)
        )
        assert seen == pytest.approx(expected)
        assert not found.settled and found.iterations == 4 and found.state.tolist() == [0.0]


@pytest.mark.parametrize(
    ("gain", "factor"), [(1.0, 1e-3), (0.5, 1.0), (2.0, 1e-3), (0.0, 2.0), (0.9, 0.488)]
)
def test_an_accepted_step_lowers_the_damping_by_its_gain(gain, factor):
    """1 - (2 g - 1)³, a thousandth at least; below a billionth of a thousandth it is none."""
    assert _relaxed(1e-2, gain) == pytest.approx(1e-2 * factor)
    assert _relaxed(0.99e-12 / factor, gain) == 0.0
    assert _relaxed(1.01e-12 / factor, gain) > 0.0


@pytest.mark.parametrize(("step", "calls"), [(1e-3, 1 + 5), (1e3, 1 + 1)])
def test_only_a_step_that_is_not_short_is_halved(step, calls):
    asked = []

    def uphill(at):
        asked.append(float(at[0]))
        return np.array([1.0 + 1e3 * abs(float(at[0]))]), np.array([[1.0]])

    limits = Limits(iterations=1, damping=0.0, step=step, halvings=4)
    adjust(uphill, np.zeros(1), np.ones(1), limits=limits)
    assert len(asked) == calls


def test_the_weakest_direction_is_the_last_singular_vector_of_scaled_columns():
    sigma = np.linspace(0.5, 2.0, 9)
    found = adjust(line, np.zeros(3), sigma)
    direction, ratio = found.weakest()
    white = SLOPE / sigma[:, None]
    length = np.linalg.norm(white, axis=0)
    assert ratio == pytest.approx(np.linalg.cond(white / length))
    # By one standard uncertainty: it changes the whitened observations by a unit vector.
    assert np.linalg.norm(white @ direction) == pytest.approx(1.0)
    scaled = direction * length
    values, vectors = np.linalg.eigh((white / length).T @ (white / length))
    assert abs(scaled @ vectors[:, 0]) == pytest.approx(np.linalg.norm(scaled))
    assert 1.0 / np.linalg.norm(scaled) == pytest.approx(np.sqrt(values[0]))
    # Where a direction is not determined at all, that is the weakest.
    twice = np.column_stack([SLOPE, SLOPE[:, 0]])
    lost = adjust(lambda at: (OBSERVED - twice @ at, twice), np.zeros(4), np.ones(9))
    direction, ratio = lost.weakest()
    assert ratio == np.inf and np.linalg.norm(twice @ direction) < 1e-6


def correlated():
    root = np.random.default_rng(3).normal(size=(9, 9))
    return root @ root.T + np.eye(9)


@pytest.mark.parametrize("spread", [np.diag(np.linspace(0.5, 2.0, 9) ** 2), correlated()])
def test_an_observation_is_checked_by_the_share_of_its_weight_that_is_left(spread):
    found = adjust(line, np.zeros(3), spread)
    weight = np.linalg.inv(spread)
    cofactors = spread - SLOPE @ np.linalg.inv(SLOPE.T @ weight @ SLOPE) @ SLOPE.T
    left = weight @ cofactors @ weight
    share = np.diag(left) / np.diag(weight)
    residuals = weight @ (OBSERVED - SLOPE @ found.state)
    np.testing.assert_allclose(w_values(found), residuals / np.sqrt(np.diag(left)), rtol=1e-6)
    for index, each in enumerate(share):
        assert np.isfinite(w_values(found, 0.999 * each)[index])
        assert np.isnan(w_values(found, 1.001 * each)[index])
    assert redundancy_numbers(found) == pytest.approx(np.diag(cofactors @ weight), rel=1e-6)
    # Baarda's shift for 0.1 % and 80 %: 3.2905 + 0.8416.
    np.testing.assert_allclose(
        smallest_findable(found), 4.13215 / np.sqrt(np.diag(left)), rtol=1e-5
    )
    # The fall of chi-square without a group is that of an adjustment without it.
    groups = [np.array([2]), np.array([1, 5]), np.array([0, 3, 8])]
    falls = falls_of_chi_square(found, groups)
    for fall, group in zip(falls, groups, strict=True):
        kept = np.setdiff1d(np.arange(9), group)
        part = np.linalg.inv(spread[np.ix_(kept, kept)])
        slope, seen = SLOPE[kept], OBSERVED[kept]
        best = np.linalg.solve(slope.T @ part @ slope, slope.T @ part @ seen)
        rest = (seen - slope @ best) @ part @ (seen - slope @ best)
        assert fall == pytest.approx(found.chi_square - rest, rel=1e-5)


def test_a_group_that_nothing_checks_has_no_fall():
    slope = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
    seen = np.array([3.0, 1.0, 2.0])
    found = adjust(lambda at: (seen - slope @ at, slope), np.zeros(2), np.ones(3))
    falls = falls_of_chi_square(found, [np.array([0]), np.array([1]), np.array([0, 1])])
    assert falls[1] == pytest.approx(0.5) and falls[2] == pytest.approx(0.5)
    assert np.isnan(falls[0]) or falls[0] == pytest.approx(0.0, abs=1e-6)


def test_covariance_leaves_out_what_is_not_determined():
    twice = np.column_stack([SLOPE, 1e-11 * SLOPE[:, 1] + SLOPE[:, 0]])
    covariance, lost = covariance_of(twice, 1e-9)
    assert len(lost) == 1
    length = np.linalg.norm(twice, axis=0)
    expected = np.linalg.pinv(twice / length, rcond=1e-7)
    expected = (expected @ expected.T) / np.outer(length, length)
    np.testing.assert_allclose(covariance, expected, rtol=1e-5)
    whole, none = covariance_of(SLOPE, 1e-9)
    assert len(none) == 0
    np.testing.assert_allclose(whole @ (SLOPE.T @ SLOPE), np.eye(3), atol=1e-8)
    np.testing.assert_allclose(inverse_of_normal(SLOPE.T @ SLOPE), whole, rtol=1e-8)


def test_a_weighted_step_is_that_of_stacked_rows():
    rng = np.random.default_rng(5)
    slope, residual = rng.normal(size=(6, 2, 3)), rng.normal(size=(6, 2))
    weights, prior_u = rng.uniform(0.1, 2.0, 6), np.array([0.5, 2.0, 1e3])
    prior = np.array([0.3, -1.0, 0.0])
    step, normal = weighted_step(slope, residual, weights, prior_u, prior)
    root = np.sqrt(np.repeat(weights, 2))
    rows = np.concatenate([slope.reshape(-1, 3) * root[:, None], np.diag(1.0 / prior_u)])
    right = np.concatenate([residual.ravel() * root, prior / prior_u])
    np.testing.assert_allclose(step, np.linalg.lstsq(rows, right, rcond=None)[0], rtol=1e-9)
    np.testing.assert_allclose(normal, rows.T @ rows, rtol=1e-9)


def test_robust_weights_fall_as_their_authors_say():
    relative = np.array([0.0, 1.9, 2.1, 4.0, 5.9, 6.1])
    found = huber_weights(relative, 2.0, 6.0)
    np.testing.assert_allclose(found, [1.0, 1.0, 2.0 / 2.1, 0.5, 2.0 / 5.9, 1e-12])
    np.testing.assert_allclose(huber_weights(relative, 2.0)[-1], 2.0 / 6.1)
    found = tukey_weights(np.array([0.0, 3.0, 5.9, 6.1]), 6.0)
    np.testing.assert_allclose(found, [1.0, 0.5625, (1.0 - (5.9 / 6.0) ** 2) ** 2, 0.0])


def test_a_round_of_reweighting_is_huber_s_and_goes_half_a_prior_at_most():
    rng = np.random.default_rng(6)
    slope = rng.normal(size=(8, 2, 2))
    truth = np.array([0.2, -0.1])
    seen = np.einsum("nij,j->ni", slope, truth) + 0.3 * rng.normal(size=(8, 2))
    seen[3] += 9.0
    priors = Priors(np.array([0.1, 0.0]), np.array([1.0, 0.02]))

    def model(at):
        return seen - np.einsum("nij,j->ni", slope, at), slope

    start = np.array([0.0, 0.3])
    found = adjust_reweighted(model, start, priors, rounds=1, knee=2.0, least=3)
    white, _ = model(start)
    length = np.linalg.norm(white, axis=1)
    root = np.sqrt(np.repeat(np.minimum(1.0, 2.0 / length), 2))
    rows = np.concatenate([slope.reshape(-1, 2) * root[:, None], np.diag(1.0 / priors.sd)])
    right = np.concatenate([white.ravel() * root, (priors.mean - start) / priors.sd])
    step = np.linalg.lstsq(rows, right, rcond=None)[0]
    assert abs(step[1]) > 0.01
    expected = start + np.clip(step, -0.5 * priors.sd, 0.5 * priors.sd)
    np.testing.assert_allclose(found.state, expected, rtol=1e-9)
    np.testing.assert_allclose(found.information, rows.T @ rows, rtol=1e-9)
    np.testing.assert_allclose(found.gradient, rows.T @ right, rtol=1e-9)
    np.testing.assert_allclose(found.distance, length)
    # Without its own prior a parameter is that of all other rows.
    for at in (0, 1):
        others = np.delete(rows, 16 + at, axis=0)
        alone = np.linalg.lstsq(others, np.delete(right, 16 + at), rcond=None)[0]
        value, variance = found.without_prior(priors, at)
        assert value == pytest.approx(start[at] + alone[at])
        assert variance == pytest.approx(np.linalg.inv(others.T @ others)[at, at])


@pytest.mark.parametrize(("good", "enough"), [(3, True), (2, False)])
def test_reweighting_needs_its_fewest_observations(good, enough):
    slope = np.ones((5, 1, 1))

    def model(at):
        white = np.full((5, 1), np.nan)
        white[:good] = 1.0 - at[0]
        return white, slope

    priors = Priors(np.zeros(1), np.array([9.0]))
    if enough:
        found = adjust_reweighted(model, np.zeros(1), priors, rounds=3, knee=2.0, least=3)
        assert found.whitened.shape == (3, 1)
        assert found.state[0] == pytest.approx(1.0, abs=0.01)
    else:
        with pytest.raises(least_squares.NotDetermined, match="too few observations"):
            adjust_reweighted(model, np.zeros(1), priors, rounds=3, knee=2.0, least=3)
