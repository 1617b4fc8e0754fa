"""How much each position counts, from whitened residuals that are drawn to order."""

import numpy as np
import pytest

from tracker.fitting.weighting import CUT, KNEE, Weighting, correlation_factor


def white(count=200, seed=1):
    return np.random.default_rng(seed).normal(size=(count, 2))


def test_honest_positions_all_count():
    found = Weighting.of(white())
    assert found.scale == pytest.approx(1.0, abs=0.35)
    assert found.used.all() and np.mean(found.weights == 1.0) > 0.75


def test_scale_is_the_scatter_beside_the_stated_one():
    assert np.median(Weighting.of(3.0 * white(4000)).scale) == pytest.approx(3.0, rel=0.05)
    # A handful of positions is drawn towards what they state, as if five more lay at one.
    residuals = np.full((5, 2), 2.0 * np.sqrt(np.log(2.0)))
    # Their median radius is twice that of a normal vector of unit variance.
    assert Weighting.of(residuals).scale == pytest.approx(np.sqrt((5 * 4.0 + 5) / 10))


@pytest.mark.parametrize("first", [0, 40, 90, 170])
def test_a_noisy_stretch_has_a_larger_scale_where_it_lies(first):
    residuals = white(200, 2)
    residuals[first : first + 30] *= 6.0
    scale = Weighting.of(residuals).scale
    inside = np.zeros(200, bool)
    inside[first : first + 30] = True
    middle = np.zeros(200, bool)
    middle[first + 8 : first + 22] = True
    far = np.ones(200, bool)
    far[max(first - 12, 0) : first + 42] = False
    assert scale[middle].min() > 2.5 * np.median(scale[far])
    # No farther off than half a stretch of neighbours, and on neither side more.
    assert scale[far].max() < 1.8 * np.median(scale[far])


def test_outliers_count_less_and_then_not_at_all():
    residuals = white()
    residuals[50], residuals[120] = (4.0, 0.0), (0.0, 40.0)
    found = Weighting.of(residuals)
    assert found.weights[50] == pytest.approx(KNEE / found.distance[50])
    assert found.distance[120] > CUT and found.weights[120] < 1e-9
    assert np.flatnonzero(~found.used).tolist() == [120]
    assert found.factor == pytest.approx(np.sqrt(found.weights) / found.scale)


def test_first_guess_weighs_all_alike_within_bounds():
    for size, scale in ((0.1, 1.0), (2.0, 2.0), (50.0, 3.0)):
        found = Weighting.even(size * white(4000))
        assert found.scale == pytest.approx(scale, rel=0.05) and np.ptp(found.scale) == 0.0
        assert (found.weights == 1.0).all() and found.used.all()


def test_weightings_agree_within_a_tenth():
    one = Weighting.of(white())
    assert one.agrees_with(one)
    assert one.agrees_with(Weighting(1.05 * one.scale, one.weights, one.distance))
    assert not one.agrees_with(Weighting(1.2 * one.scale, one.weights, one.distance))
    assert not one.agrees_with(Weighting(one.scale, one.weights - 0.2, one.distance))


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_variance_of_a_mean_grows_with_the_correlation_of_neighbours(correlation):
    rng = np.random.default_rng(4)
    residuals = rng.normal(size=(4000, 2))
    for now in range(1, len(residuals)):
        fresh = np.sqrt(1.0 - correlation**2) * residuals[now]
        residuals[now] = correlation * residuals[now - 1] + fresh
    expected = (1.0 + correlation) / (1.0 - correlation)
    assert correlation_factor(residuals) == pytest.approx(expected, rel=0.12)


def test_neighbours_that_disagree_or_are_few_bring_no_credit():
    alternating = white(100)
    alternating = np.abs(alternating) * np.array([1.0, -1.0] * 50)[:, None]
    assert correlation_factor(alternating) == 1.0
    assert correlation_factor(np.ones((11, 2))) == 1.0
    assert correlation_factor(np.ones((400, 2))) == pytest.approx(9.0)


def test_one_wild_residual_counts_as_one_of_four_in_the_correlation():
    residuals = np.repeat([[1.0], [0.0]] * 20, 2, axis=1)
    residuals[20:22] = [[4.0], [1.0]]
    # Sum of neighbours' products over that of squares.
    r = (4.0 * 1.0 + 1.0 * 1.0) / (19.0 + 16.0 + 1.0)
    assert correlation_factor(residuals) == pytest.approx((1 + r) / (1 - r))
    wild, mild = residuals.copy(), residuals.copy()
    wild[20], mild[20] = 300.0, 3.8
    assert correlation_factor(wild) == correlation_factor(residuals)
    assert correlation_factor(wild) != pytest.approx(correlation_factor(mild), abs=1e-3)


@pytest.mark.parametrize(("distance", "used"), [(5.6, True), (6.5, False)])
def test_six_standard_deviations_part_a_position_from_an_outlier(distance, used):
    residuals = white(400, 3)
    residuals[200] = (distance * Weighting.of(residuals).scale[200], 0.0)
    found = Weighting.of(residuals)
    assert found.distance[200] == pytest.approx(distance, abs=0.3)
    assert found.used[200] == used
