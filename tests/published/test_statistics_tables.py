"""Tables and worked examples of Student, Tukey, Welch, Grubbs, Cohen and the NIST handbook.

'Computed' marks a value worked out from the published definition to more digits than print.
"""

import math

import numpy as np
import pytest
from scipy.special import stdtr

from tracker.statistics.components import difference, mean_with_shared
from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import Sample, sample_of, scatter_interval, student_factor
from tracker.statistics.outliers import grubbs, grubbs_critical
from tracker.statistics.pairwise import MARGIN, pair_level, simultaneous
from tracker.statistics.power import planned_scatter, power_of_two

STUDENT_DOF = (1, 2, 3, 4, 5, 7, 9, 14, 16, 19, 29)
STUDENT = {  # GUM table G.2 prints 2.12, 2.17, 2.92 for 16; the rest computed
    0.90: (6.3138, 2.9200, 2.3534, 2.1318, 2.0150, 1.8946, 1.8331, 1.7613, 1.7459, 1.7291, 1.6991),
    0.95: (12.7062, 4.3027, 3.1824, 2.7764, 2.5706, 2.3646, 2.2622, 2.1448, 2.1199, 2.0930, 2.0452),
    0.9545: (
        13.9678, 4.5266, 3.3068, 2.8693, 2.6487, 2.4288, 2.3198, 2.1953, 2.1689, 2.1405, 2.0900,
    ),
    0.99: (63.6567, 9.9248, 5.8409, 4.6041, 4.0321, 3.4995, 3.2498, 2.9768, 2.9208, 2.8609, 2.7564),
}  # fmt: skip

# NIST/SEMATECH e-Handbook, section 7.4.7.1.
NIST_GROUPS = (
    (6.9, 5.4, 5.8, 4.6, 4.0),
    (8.3, 6.8, 7.8, 9.2, 6.5),
    (8.0, 10.5, 8.1, 6.9, 9.3),
    (5.8, 3.8, 6.1, 5.6, 6.2),
)


@pytest.mark.parametrize("level", STUDENT)
def test_student_table(level: float) -> None:
    got = [student_factor(level, dof) for dof in STUDENT_DOF]
    assert got == pytest.approx(STUDENT[level], abs=6e-5)


def test_student_at_no_end_of_freedom_is_normal() -> None:
    assert student_factor(0.95, math.inf) == pytest.approx(1.959964, abs=1e-6)


def test_interval_of_a_heat_flow_meter() -> None:
    """NIST/SEMATECH e-Handbook, section 1.3.5.2 (ZARR13), as in Boost.Math's examples."""
    sample = Sample(195, 9.26146, 0.02278881)
    low, high = mean_with_shared(sample, 0.0).interval()
    assert (low, high) == pytest.approx((9.25824, 9.26468), abs=6e-6)
    assert (sample.mean - 5.0) / sample.u == pytest.approx(2611.28380, abs=2e-2)


def test_interval_of_mercury_by_three_determinations() -> None:
    """J. C. Miller and J. N. Miller, Statistics for Analytical Chemistry, via Boost.Math."""
    sample = Sample(3, 37.8, 0.9643650)
    assert mean_with_shared(sample, 0.0).interval() == pytest.approx((35.40438, 40.19562), abs=1e-5)
    assert student_factor(0.95, 2) == pytest.approx(4.303, abs=5e-4)
    assert (37.8 - 38.9) / sample.u == pytest.approx(-1.97566, abs=1e-5)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(3, 0.52066, 6.28473), (5, 0.59913, 2.87356), (10, 0.68784, 1.82561), (20, 0.76049, 1.46057)],
)
def test_chi_square_limits_of_a_standard_deviation(count: int, low: float, high: float) -> None:
    assert scatter_interval(Sample(count, 0.0, 1.0)) == pytest.approx((low, high), abs=1e-5)


def test_welch_on_mileage() -> None:
    """NIST/SEMATECH e-Handbook, section 1.3.5.3 (AUTO83B), as in Boost.Math's examples."""
    first, second = Sample(249, 20.14458, 6.414700), Sample(79, 30.48101, 6.107710)
    found = difference(first, second, (0.0, 0.0), 0.0)
    assert found.dof == pytest.approx(136.87499, abs=1e-5)
    assert found.value / found.u == pytest.approx(-12.946267565658848, rel=1e-9)


def test_a_family_of_pairs_divides_the_error_as_tamhane_s_t2() -> None:
    """Šidák's level (1967) for each pair, Welch's degrees of freedom, by hand for one pair."""
    a, b = np.array(NIST_GROUPS[0]), np.array(NIST_GROUPS[2])
    parts = a.var(ddof=1) / 5, b.var(ddof=1) / 5
    dof = sum(parts) ** 2 / (parts[0] ** 2 / 4 + parts[1] ** 2 / 4)
    each = (1 - MARGIN * 0.05) ** (1 / 6)
    found = difference(sample_of(a), sample_of(b), (0.0, 0.0), 0.0)
    pair = simultaneous(found.value, found.u, found.dof, 4, 0.95)
    assert pair.dof == pytest.approx(dof, rel=1e-12)
    assert pair.half_width == pytest.approx(
        student_factor(each, dof) * math.sqrt(sum(parts)), rel=1e-12
    )
    assert pair_level(2) == pytest.approx(1 - MARGIN * 0.05)
    assert welch_dof(((parts[0], 4), (parts[1], 4))) == pytest.approx(dof)


@pytest.mark.parametrize(
    ("counts", "scatters"),
    [
        ((3, 4, 5, 6, 7, 8), (1.0,) * 6),
        ((8, 7, 6, 5, 4, 3), (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)),
        ((3, 5, 8), (3.0, 2.0, 1.0)),
        ((3, 8), (3.0, 1.0)),
        ((5, 5, 5), (1.0, 2.0, 4.0)),
    ],
)
def test_equal_means_are_seldom_distinguished(counts: tuple, scatters: tuple) -> None:
    """The family-wise error stays at 5 % or less for few and uneven shots (simulated)."""
    trials = 12_000
    draw = np.random.default_rng(1979)
    n, sd = np.array(counts), np.array(scatters)
    means = draw.normal(size=(trials, len(n))) * sd / np.sqrt(n)
    squares = (sd * sd / n) * draw.chisquare(n - 1, size=(trials, len(n))) / (n - 1)
    first, second = np.triu_indices(len(n), 1)
    spread = squares[:, first] + squares[:, second]
    below = squares[:, first] ** 2 / (n - 1)[first] + squares[:, second] ** 2 / (n - 1)[second]
    score = np.abs(means[:, first] - means[:, second]) / np.sqrt(spread)
    p = 2 * stdtr(spread**2 / below, -score)
    alarms = (p < 1 - pair_level(len(n))).any(axis=1).mean()
    # Two standard deviations of a share of 12000.
    assert 0.01 < alarms <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / trials)


TIETJEN_MOORE = (199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)


def test_grubbs_on_uranium_isotopes() -> None:
    """Tietjen and Moore (1972); NIST/SEMATECH e-Handbook, section 1.3.5.17.1."""
    found = grubbs(TIETJEN_MOORE)
    assert found.place == 7
    assert found.statistic == pytest.approx(2.468765, abs=1e-6)
    assert found.critical == pytest.approx(2.126645, abs=1e-6)
    assert found.is_outlier
    assert grubbs_critical(8, two_sided=False) == pytest.approx(2.032, abs=5e-4)
    assert grubbs(TIETJEN_MOORE[:-1]).is_outlier is False


@pytest.mark.parametrize(
    ("count", "one_sided", "two_sided"),
    [
        (3, 1.1531, 1.1543), (4, 1.4625, 1.4813), (5, 1.6714, 1.7150), (6, 1.8221, 1.8871),
        (7, 1.9381, 2.0200), (8, 2.0317, 2.1266), (9, 2.1096, 2.2150), (10, 2.1761, 2.2900),
        (12, 2.2850, 2.4116), (15, 2.4090, 2.5483), (20, 2.5566, 2.7082), (30, 2.7451, 2.9085),
    ],
)  # fmt: skip
def test_grubbs_table(count: int, one_sided: float, two_sided: float) -> None:
    """One-sided column: Grubbs (1969) up to 20 values; the rest computed."""
    assert grubbs_critical(count, two_sided=False) == pytest.approx(one_sided, abs=6e-5)
    assert grubbs_critical(count) == pytest.approx(two_sided, abs=6e-5)


@pytest.mark.parametrize(("count", "median"), [(2, 0.4549), (5, 3.3567), (10, 8.3428)])
def test_the_scatter_that_a_plan_takes_is_of_median_chi_square(count: int, median: float) -> None:
    """Quantiles of chi-square at 0.5 as tables print them (Abramowitz and Stegun, table 26.8)."""
    planned = planned_scatter(0.7, count)
    assert planned == pytest.approx(0.7 * math.sqrt((count - 1) / median), rel=1e-4)


def test_power_of_five_shots_each() -> None:
    """Computed from the noncentral t."""
    assert power_of_two(1.0, (1.0, 1.0), (5, 5)) == pytest.approx(0.28630, abs=1e-5)
    assert power_of_two(2.0, (1.0, 1.0), (5, 5)) == pytest.approx(0.79054, abs=1e-5)


def test_power_falls_with_the_number_of_setups_compared() -> None:
    """More pairs at one family-wise confidence: each pair is tested at a stricter level."""
    gap, scatters, counts = 2.0, (1.0, 1.4), (6, 5)
    levels = [pair_level(groups) for groups in (2, 3, 6)]
    chances = [power_of_two(gap, scatters, counts, level) for level in levels]
    assert chances[0] > chances[1] + 0.05 > chances[2] + 0.1


def test_the_power_is_the_share_of_experiments_that_succeed() -> None:
    """Simulated experiments of two of four setups, six and nine shots."""
    trials, gap = 4000, 2.0
    draw = np.random.default_rng(80)
    wins = 0
    for _ in range(trials):
        a, b = sample_of(draw.normal(gap, 1.0, 6)), sample_of(draw.normal(0.0, 1.0, 9))
        found = difference(a, b, (0.0, 0.0), 0.0)
        wins += simultaneous(found.value, found.u, found.dof, 4, 0.95).significant
    expected = power_of_two(gap, (1.0, 1.0), (6, 9), pair_level(4))
    assert wins / trials == pytest.approx(expected, abs=0.025)
