"""The steps of an adjustment: how far they go, when they are taken, and at what they end."""

import numpy as np
import pytest

from calibration.adjustment import Limits, adjust
from calibration.adjustment.least_squares import _relaxed
from calibration.adjustment.normal import inverse_of_normal
from calibration.adjustment.reliability import falls_of_chi_square
from calibration.adjustment.reweighted import Priors, adjust_reweighted


def test_each_halving_goes_half_as_far():
    """One residual is linear in one parameter: bending leaves that parameter's step straight."""
    asked = []

    def model(b):
        asked.append(float(b[0]))
        residuals = np.array([10.0 * (b[1] - b[0] ** 6), 1.0 - b[0]])
        return residuals, -np.array([[-60.0 * b[0] ** 5, 10.0], [-1.0, 0.0]])

    adjust(model, np.array([-2.0, 64.0]), np.ones(2), limits=Limits(1, damping=0.0, halvings=4))
    shares = (np.array(asked[1:]) + 2.0) / 3.0
    assert len(shares) >= 4
    assert shares == pytest.approx(0.5 ** np.arange(len(shares)), abs=1e-6)


def test_a_step_that_costs_more_is_not_taken():
    """Newton's iteration for arctan leaves from beyond 1.392 (R. Dennis and R. B. Schnabel,
    Numerical Methods for Unconstrained Optimization, 1983, example 2.4.3; from memory)."""

    def model(b):
        return np.array([-np.arctan(b[0])]), np.array([[1.0 / (1.0 + b[0] ** 2)]])

    for start in (1.45, 2.0, 5.0):
        once = adjust(model, np.array([start]), np.ones(1), limits=Limits(1, damping=0.0))
        assert once.state == pytest.approx([start])
    once = adjust(model, np.array([1.35]), np.ones(1), limits=Limits(1, damping=0.0))
    assert -1.35 < once.state[0] < 0.0


@pytest.mark.parametrize(
    ("gain", "factor"), [(1.0, 1e-3), (5.0, 1e-3), (0.5, 1.0), (0.0, 2.0), (0.75, 0.875)]
)
def test_damping_falls_as_the_linear_model_holds(gain, factor):
    """1 - (2 gain - 1)^3 (Madsen, Nielsen and Tingleff 2004, 2.21), not below a thousandth."""
    assert _relaxed(1.0, gain) == pytest.approx(factor)
    assert _relaxed(1e-12, 1.0) == 0.0


def test_a_round_goes_half_a_prior_s_deviation_at_most():
    priors = Priors(np.zeros(2), np.array([2.0, 6.0]))

    def far(state):
        return np.array([[100.0, -100.0]]) - state[None], np.eye(2)[None]

    once = adjust_reweighted(far, np.zeros(2), priors, rounds=1, knee=9e9, least=1)
    assert once.state == pytest.approx([1.0, -3.0])
    again = adjust_reweighted(far, np.zeros(2), priors, rounds=3, knee=9e9, least=1)
    assert again.state == pytest.approx([3.0, -9.0])


def test_a_joint_test_counts_every_direction_that_has_a_variance():
    """Of two observations of one unknown that differ a thousandfold in weight."""
    design = np.array([[1.0], [1.0], [1.0], [1.0]])
    u = np.array([1.0, 1e-3, 1.0, 1.0])
    observed = np.array([0.5, 0.0, 2.0, -1.0])
    fit = adjust(lambda b: (observed - design @ b, design), np.zeros(1), u)
    without = adjust(lambda b: (observed[2:] - design[2:] @ b, design[2:]), np.zeros(1), u[2:])
    (fall,) = falls_of_chi_square(fit, [np.array([0, 1])])
    assert fall == pytest.approx(fit.chi_square - without.chi_square, rel=1e-6)


def test_parameters_of_any_unit_are_inverted_alike():
    correlation = np.array([[1.0, 0.6, 0.2], [0.6, 1.0, -0.3], [0.2, -0.3, 1.0]])
    for unit in (1e-140, 1e-9, 1.0, 1e9):
        scale = np.array([unit, 1.0, 1.0 / unit])
        inverse = inverse_of_normal(correlation * np.outer(scale, scale))
        plain = inverse * np.outer(scale, scale)
        assert plain == pytest.approx(np.linalg.inv(correlation), rel=1e-9)


def test_a_parameter_that_nothing_determines_has_no_inverse():
    with pytest.raises(np.linalg.LinAlgError):
        inverse_of_normal(np.diag([1.0, 0.0]))
