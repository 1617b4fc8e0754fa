"""Robust weights and scales, and the linear fit that uses them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.adjustment.normal import inverse_of_normal, weighted_step
from calibration.adjustment.robust import (
    MEDIAN_RADIUS,
    NEGLIGIBLE_WEIGHT,
    cauchy_weights,
    fit_linear,
    huber_weights,
    middle,
    sigma_of,
    sigma_of_radii,
    tukey_weights,
)


def test_median_radius_is_that_of_the_rayleigh_law():
    # Circular error probable of a round scatter: 1.1774 standard deviations (printed table).
    assert pytest.approx(1.177410, abs=1e-6) == MEDIAN_RADIUS


def test_scales_are_standard_deviations_of_normal_scatter():
    rng = np.random.default_rng(3)
    scatter = rng.normal(scale=2.5, size=(200_000, 2))
    assert sigma_of(scatter[:, 0]) == pytest.approx(2.5, rel=0.01)
    assert sigma_of_radii(np.linalg.norm(scatter, axis=1)) == pytest.approx(2.5, rel=0.01)


def test_a_scale_ignores_the_sign_and_keeps_its_least_value():
    assert sigma_of(np.array([-1.0, -1.0, 1.0])) == pytest.approx(1.4826)
    assert sigma_of(np.zeros(5), 0.3) == 0.3
    assert sigma_of(np.zeros(5)) == 0.0


def test_weights_at_known_distances():
    assert cauchy_weights(np.array([0.0, 2.0, 6.0]), 1.0) == pytest.approx([1.0, 0.5, 0.1])
    assert cauchy_weights(np.array([0.6]), 0.3) == pytest.approx([0.5])
    assert huber_weights(np.array([0.0, 2.0, 4.0]), 2.0) == pytest.approx([1.0, 1.0, 0.5])
    assert huber_weights(np.array([6.0, 6.1]), 2.0, 6.0) == pytest.approx(
        [1.0 / 3.0, NEGLIGIBLE_WEIGHT]
    )
    assert tukey_weights(np.array([0.0, 2.0, 4.0, 5.0]), 4.0) == pytest.approx(
        [1.0, 0.5625, 0.0, 0.0]
    )


@given(st.lists(st.floats(0.0, 1e3), min_size=2, max_size=20), st.floats(0.1, 10.0))
def test_no_weight_rises_with_distance(distances, scale):
    ordered = np.sort(np.array(distances))
    for weights in (
        cauchy_weights(ordered, scale),
        huber_weights(ordered / scale, 2.0, 6.0),
        tukey_weights(ordered / scale, 4.0),
    ):
        assert np.all(np.diff(weights) <= 0.0)
        assert np.all((weights >= 0.0) & (weights <= 1.0))


def test_outliers_leave_a_line_where_it_is():
    rng = np.random.default_rng(7)
    x = np.linspace(-1.0, 1.0, 60)
    design = np.column_stack([np.ones_like(x), x])
    true = np.array([[3.0, -2.0], [5.0, 1.0]])
    seen = design @ true + rng.normal(scale=0.1, size=(60, 2))
    seen[::6] += 40.0
    plain = np.linalg.lstsq(design, seen, rcond=None)[0]
    fit = fit_linear(design, seen, rounds=20, least_sigma=0.01)
    assert np.abs(plain - true).max() > 5.0
    assert fit.parameters == pytest.approx(true, abs=0.12)
    assert fit.weights[::6].max() < 1e-3
    assert np.median(fit.weights) > 0.5


def test_cofactors_of_a_single_round_are_those_of_least_squares():
    x = np.array([0.0, 1.0, 2.0, 5.0])
    design = np.column_stack([np.ones_like(x), x])
    fit = fit_linear(design, x**2, rounds=1, least_sigma=0.1)
    assert fit.cofactors == pytest.approx(np.linalg.inv(design.T @ design))
    ridged = fit_linear(design, x**2, rounds=1, least_sigma=0.1, ridge=np.eye(2))
    assert ridged.cofactors == pytest.approx(np.linalg.inv(design.T @ design + np.eye(2)))


def test_a_weighted_step_equals_generalised_least_squares():
    rng = np.random.default_rng(9)
    slope, residual = rng.normal(size=(8, 2, 3)), rng.normal(size=(8, 2))
    weights, prior_u = rng.uniform(0.2, 1.0, 8), np.array([0.5, 2.0, 1e3])
    away = np.array([0.3, -1.0, 0.0])
    step, normal = weighted_step(slope, residual, weights, prior_u, away)
    rows = np.vstack([slope.reshape(-1, 3), np.eye(3)])
    root = np.sqrt(np.concatenate([np.repeat(weights, 2), prior_u**-2.0]))
    expected = np.linalg.lstsq(
        rows * root[:, None], np.concatenate([residual.ravel(), away]) * root, rcond=None
    )[0]
    assert step == pytest.approx(expected)
    assert normal == pytest.approx((rows * root[:, None]).T @ (rows * root[:, None]))


def test_inverse_of_normal_bears_units_far_apart():
    length = np.array([1e-7, 1.0, 1e8])
    correlation = np.array([[1.0, 0.5, 0.2], [0.5, 1.0, 0.4], [0.2, 0.4, 1.0]])
    found = inverse_of_normal(correlation * np.outer(length, length))
    expected = np.linalg.inv(correlation) / np.outer(length, length)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("values", [[3.0], [4.0, 1.0], [5.0, 1.0, 2.0], [0.1, 0.7, 0.3, 9.0]])
def test_the_middle_of_values_is_their_median(values) -> None:
    assert middle(values) == np.median(values)
    assert middle(np.reshape(values, (-1, 1))) == np.median(values)
