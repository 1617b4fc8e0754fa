"""Tails and quantiles against printed tables; averages over an estimated scatter."""

import math

import numpy as np
import pytest
from scipy.special import chdtri, fdtri, ndtr, ndtri, stdtrit

from tracker.statistics.distributions import (
    chi_square_quantile,
    normal_below,
    normal_quantile,
    scatter_ratios,
    student_quantile,
)
from tracker.statistics.landing import landing_region


@pytest.mark.parametrize(
    ("above", "dof", "printed"),
    [(0.025, 1, 12.706), (0.025, 4, 2.776), (0.005, 10, 3.169), (0.05, 30, 1.697), (0.1, 2, 1.886)],
)
def test_student_quantiles_are_those_of_the_table(above, dof, printed):
    """NIST/SEMATECH e-Handbook, 1.3.6.7.2, critical values of Student's t."""
    assert student_quantile(above, dof) == pytest.approx(printed, abs=5e-4)


@pytest.mark.parametrize(
    ("above", "dof", "printed"),
    [
        (0.05, 1, 3.841),
        (0.025, 4, 11.143),
        (0.975, 4, 0.484),
        (0.95, 10, 3.940),
        (0.01, 30, 50.892),
    ],
)
def test_chi_square_quantiles_are_those_of_the_table(above, dof, printed):
    """NIST/SEMATECH e-Handbook, 1.3.6.7.4, critical values of chi-square."""
    assert chi_square_quantile(above, dof) == pytest.approx(printed, abs=5e-4)


def test_the_normal_distribution_is_that_of_the_table():
    """NIST/SEMATECH e-Handbook, 1.3.6.7.1, area under the normal curve (from 0: plus a half)."""
    assert normal_below([0.0, 1.0, 1.96, -1.0]) == pytest.approx(
        [0.5, 0.84134, 0.97500, 0.15866], abs=5e-6
    )
    assert normal_quantile(0.025) == pytest.approx(1.960, abs=5e-4)
    assert student_quantile(0.025, math.inf) == normal_quantile(0.025)


ABOVE = (1e-12, 1e-6, 0.003, 0.025, 0.2, 0.4999, 0.6, 0.975, 0.999)
DOF = (1.0, 1.3, 2.0, 4.7, 8.0, 30.0, 117.2, 999.9, 1000.0, 1e4, 1e6)


def test_quantiles_and_tails_are_those_of_scipy():
    """scipy.special 1.13 and later, an implementation of its own (Cephes and Boost)."""
    for above in ABOVE:
        assert normal_quantile(above) == pytest.approx(-ndtri(above), rel=1e-12)
        for dof in DOF:
            assert student_quantile(above, dof) == pytest.approx(-stdtrit(dof, above), rel=1e-10)
            assert chi_square_quantile(above, dof) == pytest.approx(chdtri(dof, above), rel=1e-10)
    values = np.linspace(-30.0, 8.0, 96).reshape(8, 12)
    assert normal_below(values) == pytest.approx(ndtr(values), rel=1e-11, abs=0.0)


@pytest.mark.parametrize("count", [3, 4, 12, 400])
@pytest.mark.parametrize("level", [0.5, 0.95])
def test_a_landing_region_is_that_of_the_f_distribution(count, level):
    """Hotelling's T² by the quantile of F that SciPy has."""
    points = np.random.default_rng(count).normal(size=(count, 2))
    region = landing_region(points, level)
    share = 2.0 * (count - 1) * (1.0 + 1.0 / count) / (count - 2)
    longest = np.linalg.eigvalsh(np.cov(points.T))[-1]
    expected = np.sqrt(share * fdtri(2, count - 2, level) * longest)
    assert region.semi_axes[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("dof", [1.0, 2.5, 9.0, 400.0])
def test_ratios_have_the_moments_of_chi_square(dof):
    """Mean 1 and variance 2 / dof of chi-square over its degrees of freedom, by its definition."""
    ratios, weights = scatter_ratios(dof)
    assert weights.sum() == pytest.approx(1.0)
    assert weights @ ratios**2 == pytest.approx(1.0, abs=1e-4)
    assert weights @ (ratios**2 - 1.0) ** 2 == pytest.approx(2.0 / dof, rel=1e-4)


@pytest.mark.parametrize("count", [3, 5, 40])
def test_the_landing_region_has_the_f_quantile_of_the_handbook(count):
    points = np.random.default_rng(count).normal(size=(count, 2))
    found = landing_region(points, 0.9)
    # Abramowitz and Stegun (1964), 26.6.4: with two degrees of freedom F's tail is a power.
    quantile = 0.5 * (count - 2) * (0.1 ** (-2.0 / (count - 2)) - 1.0)
    factor = (1 + 1 / count) * 2 * (count - 1) / (count - 2) * quantile
    long = math.sqrt(factor * np.linalg.eigvalsh(np.cov(points.T))[1])
    assert found is not None and found.semi_axes[0] == pytest.approx(long)
