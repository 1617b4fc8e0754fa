"""The adjustment on its own: covariance, manifold, rank, reliability."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.adjustment import (
    Limits,
    NotDetermined,
    adjust,
    critical_w,
    falls_of_chi_square,
    redundancy_numbers,
    smallest_findable,
    w_values,
)
from calibration.camera import rotation_from_vector


def _line(x, y):
    design = np.column_stack([np.ones_like(x), x])
    return lambda b: (y - design @ b, design)


def _balanced(count):
    """Return a column that is orthogonal to alternating signs, shape (count, 1)."""
    signs = (-1.0) ** np.arange(count)
    column = np.arange(1.0, count + 1.0)
    return (column - signs * (signs @ column) / count)[:, None]


def test_correlated_observations_equal_generalised_least_squares():
    rng = np.random.default_rng(5)
    design, root = rng.normal(size=(9, 3)), rng.normal(size=(9, 9))
    covariance, y = root @ root.T + 0.1 * np.eye(9), rng.normal(size=9)
    fit = adjust(lambda b: (y - design @ b, design), np.zeros(3), covariance)
    weight = np.linalg.inv(covariance)
    expected = np.linalg.inv(design.T @ weight @ design)
    assert fit.covariance == pytest.approx(expected, rel=1e-9)
    assert fit.state == pytest.approx(expected @ design.T @ weight @ y, rel=1e-7)
    residual = y - design @ fit.state
    assert fit.chi_square == pytest.approx(residual @ weight @ residual)
    assert redundancy_numbers(fit).sum() == pytest.approx(6.0)


def test_rotation_is_adjusted_on_its_manifold():
    rng = np.random.default_rng(2)
    true = rotation_from_vector((2.0, -1.5, 0.7))
    ways = rng.normal(size=(12, 3))
    seen = ways @ true.T

    def model(rotation):
        turned = ways @ rotation.T
        slope = np.zeros((12, 3, 3))
        for axis in range(3):
            slope[:, :, axis] = np.cross(np.eye(3)[axis], turned)
        return (seen - turned).ravel(), slope.reshape(-1, 3)

    fit = adjust(
        model,
        np.eye(3),
        np.full(36, 0.01),
        move=lambda rotation, step: rotation_from_vector(step) @ rotation,
    )
    assert fit.settled
    assert fit.state == pytest.approx(true, abs=1e-9)


def test_a_direction_that_nothing_sees_is_named():
    x = np.linspace(0.0, 1.0, 6)
    design = np.column_stack([np.ones(6), np.ones(6), x])
    fit = adjust(lambda b: (x - design @ b, design), np.zeros(3), np.ones(6))
    assert fit.rank == 2
    assert fit.degrees_of_freedom == 4
    direction, ratio = fit.weakest()
    assert ratio == np.inf
    assert np.abs(design @ direction).max() < 1e-9 * np.abs(direction).max()


def test_a_start_that_cannot_be_is_refused():
    with pytest.raises(NotDetermined):
        adjust(lambda b: (np.array([np.nan]), np.ones((1, 1))), np.zeros(1), np.ones(1))


@pytest.mark.parametrize("least", [0.0, -1.0])
def test_uncertainties_must_be_above_zero(least):
    with pytest.raises(ValueError, match="above zero"):
        adjust(lambda b: (b - 1.0, -np.eye(2)), np.zeros(2), np.array([1.0, least]))


@given(
    seed=st.integers(0, 10_000),
    rows=st.integers(5, 12),
    correlated=st.booleans(),
)
def test_w_squared_is_the_fall_of_chi_square_when_the_observation_is_let_go(seed, rows, correlated):
    rng = np.random.default_rng(seed)
    design, y = rng.normal(size=(rows, 3)), rng.normal(size=rows)
    spread = rng.uniform(0.5, 2.0, rows)
    uncertainty = np.diag(spread**2) if correlated else spread
    if correlated:
        # Well away from singular: of observations that go together nothing checks one alone.
        root = np.eye(rows) + 0.1 * rng.normal(size=(rows, rows))
        uncertainty = root @ uncertainty @ root.T
    fit = adjust(lambda b: (y - design @ b, design), np.zeros(3), uncertainty)
    w = w_values(fit)
    falls = falls_of_chi_square(fit, [np.array([i]) for i in range(rows)])
    for i in range(rows):
        wider = np.column_stack([design, np.eye(rows)[i]])
        freed = adjust(lambda b, a=wider: (y - a @ b, a), np.zeros(4), uncertainty)
        fall = fit.chi_square - freed.chi_square
        assert w[i] ** 2 == pytest.approx(fall, rel=1e-4, abs=1e-6)
        assert falls[i] == pytest.approx(fall, rel=1e-4, abs=1e-6)
    freed = adjust(
        lambda b: (
            y - np.column_stack([design, np.eye(rows)[:, :2]]) @ b,
            np.column_stack([design, np.eye(rows)[:, :2]]),
        ),
        np.zeros(5),
        uncertainty,
    )
    both = falls_of_chi_square(fit, [np.array([0, 1])])[0]
    assert both == pytest.approx(fit.chi_square - freed.chi_square, rel=1e-4, abs=1e-6)


def test_a_blunder_stands_out_and_the_smallest_findable_one_is_found_as_often_as_promised():
    rng = np.random.default_rng(11)
    x = np.arange(8.0)
    clean = adjust(_line(x, 1.0 + 2.0 * x), np.zeros(2), np.full(8, 0.5))
    smallest = smallest_findable(clean, chance=0.001, power=0.80)
    found = 0
    for _ in range(400):
        y = 1.0 + 2.0 * x + 0.5 * rng.normal(size=8)
        y[3] += smallest[3]
        found += abs(w_values(adjust(_line(x, y), np.zeros(2), np.full(8, 0.5)))[3]) > 3.2905
    assert 0.74 < found / 400 < 0.86


def test_what_nothing_checks_has_no_w():
    fit = adjust(_line(np.array([0.0, 1.0]), np.array([1.0, 5.0])), np.zeros(2), np.ones(2))
    assert np.all(np.isnan(w_values(fit)))
    assert np.all(np.isinf(smallest_findable(fit)))
    assert fit.p_value == 1.0


def test_critical_values():
    # Baarda (1968): 3.29 at 0.1 % for one observation.
    assert critical_w(1, 0.001) == pytest.approx(3.2905, abs=1e-4)
    assert critical_w(10, 0.001) > critical_w(1, 0.001)


def test_p_values_are_uniform_when_uncertainties_are_right():
    rng = np.random.default_rng(4)
    x = np.linspace(-1.0, 1.0, 9)
    values = [
        adjust(_line(x, x + 0.3 * rng.normal(size=9)), np.zeros(2), np.full(9, 0.3)).p_value
        for _ in range(300)
    ]
    assert np.mean(np.array(values) < 0.5) == pytest.approx(0.5, abs=0.1)
    assert 0.02 < np.mean(np.array(values) < 0.05) < 0.09


@pytest.mark.parametrize(("freedom", "chi_square"), [(1, 3.841459), (2, 5.991465), (10, 18.307038)])
def test_p_value_is_that_of_the_printed_table(freedom, chi_square):
    # Upper 5 % points of chi-square: NIST/SEMATECH e-Handbook, 1.3.6.7.4 (from memory, 6 digits).
    gap = np.zeros(freedom + 1)
    gap[:] = np.sqrt(chi_square / (freedom + 1)) * (-1.0) ** np.arange(freedom + 1)
    fit = adjust(lambda b: (gap - 0.0 * b, _balanced(freedom + 1)), np.zeros(1), np.ones(len(gap)))
    assert fit.degrees_of_freedom == freedom
    assert fit.p_value == pytest.approx(0.05, abs=1e-6)


def test_p_value_is_one_without_redundancy():
    fit = adjust(_line(np.array([0.0, 1.0]), np.array([1.0, 3.0])), np.zeros(2), np.ones(2))
    assert fit.degrees_of_freedom == 0
    assert fit.p_value == 1.0


def _curved_valley(b):
    """Rosenbrock's valley as residuals: the parabola b1 = b0^2, its floor falling to (1, 1)."""
    residuals = np.array([10.0 * (b[1] - b[0] ** 2), 1.0 - b[0]])
    return residuals, -np.array([[-20.0 * b[0], 10.0], [-1.0, 0.0]])


def test_bent_halvings_follow_a_curved_valley():
    # Rosenbrock 1960, Computer Journal 3, 175: start (-1.2, 1), minimum 0 at (1, 1).
    start = np.array([-1.2, 1.0])
    straight = adjust(_curved_valley, start, np.ones(2), limits=Limits(damping=0.0))
    bent = adjust(_curved_valley, start, np.ones(2), limits=Limits(damping=0.0, halvings=4))
    for fit in (straight, bent):
        assert fit.settled
        assert fit.state == pytest.approx([1.0, 1.0], abs=1e-6)
    assert bent.iterations < straight.iterations


def test_a_bent_step_leaves_what_is_of_third_order():
    # A path that is exactly quadratic in the parameters is followed exactly by a bent step.
    trials = []

    def model(b):
        trials.append(b.copy())
        return _curved_valley(b)

    start = np.array([-1.2, 1.0])
    adjust(model, start, np.ones(2), limits=Limits(iterations=1, damping=0.0, halvings=4))
    whole, half = trials[1], trials[2]
    # Gauss-Newton's step leads to b0 = 1 along the tangent. Its half, bent, lies half way along b0,
    # and half of the first gap to the parabola, 1 - 1.2^2, is left.
    assert whole == pytest.approx([1.0, 1.44 + (1.0 + 1.2) * -2.4], abs=1e-6)
    assert half[0] == pytest.approx(-0.1, abs=1e-6)
    assert half[1] == pytest.approx(half[0] ** 2 + 0.5 * (1.0 - 1.44), abs=1e-6)


@pytest.mark.parametrize(("start", "steps"), [(30.0, 12), (300.0, 18), (3000.0, 24)])
def test_damping_that_has_served_does_not_come_back(start, steps):
    # Newton's iteration for a cube root falls to two thirds a step while it is far off:
    # ln(150) / ln(1.5) = 12 steps from 300 to 2, then some that double the digits.
    fit = adjust(
        lambda b: (np.array([8.0 - b[0] ** 3]), np.array([[3.0 * b[0] ** 2]])),
        np.array([start]),
        np.full(1, 1e-6),
    )
    assert fit.settled
    assert fit.state == pytest.approx([2.0], abs=1e-12)
    assert fit.iterations <= steps


def test_an_adjustment_and_its_limits_are_not_changed_by_accident():
    fit = adjust(_line(np.arange(3.0), np.arange(3.0)), np.zeros(2), np.ones(3))
    for frozen, name in ((fit, "state"), (Limits(), "rank")):
        with pytest.raises(AttributeError):
            setattr(frozen, name, None)
