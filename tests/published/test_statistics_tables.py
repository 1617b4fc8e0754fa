"""Tables and worked examples of Student, Tukey, Welch, Grubbs, Cohen and the NIST handbook.

'Computed' marks a value worked out from the published definition to more digits than print.
"""

import math

import numpy as np
import pytest

from tracker.statistics import (
    Sample,
    critical_range,
    games_howell,
    grubbs,
    grubbs_critical,
    mean_interval,
    one_way,
    power_of_two,
    sample_of,
    scatter_interval,
    shots_for_half_width,
    shots_to_tell,
    tukey,
    welch_anova,
    welch_t,
)
from tracker.statistics.means import student_factor, unbiased_factor
from tracker.statistics.power import shots_to_detect
from tracker.statistics.studentized_range import range_cdf
from tracker.statistics.variance import welch_dof

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
    low, high = mean_interval(sample)
    assert (low, high) == pytest.approx((9.25824, 9.26468), abs=6e-6)
    assert (sample.mean - 5.0) / sample.u == pytest.approx(2611.28380, abs=2e-2)


def test_interval_of_mercury_by_three_determinations() -> None:
    """J. C. Miller and J. N. Miller, Statistics for Analytical Chemistry, via Boost.Math."""
    sample = Sample(3, 37.8, 0.9643650)
    assert mean_interval(sample) == pytest.approx((35.40438, 40.19562), abs=1e-5)
    assert student_factor(0.95, 2) == pytest.approx(4.303, abs=5e-4)
    assert (37.8 - 38.9) / sample.u == pytest.approx(-1.97566, abs=1e-5)
    assert shots_to_detect(1.1, 0.964365, (0.05, 0.05), sides=1) == 11
    assert shots_to_detect(1.1, 0.964365, (0.05, 0.05), sides=2) == 13


def test_unbiasing_factors() -> None:
    """Control-chart constant c4 of ISO 7870-2; more digits computed."""
    counts = (2, 3, 4, 5, 6, 8, 10)
    c4 = (0.797885, 0.886227, 0.921318, 0.939986, 0.951533, 0.965030, 0.972659)
    assert [unbiased_factor(n) for n in counts] == pytest.approx(c4, abs=1e-6)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(3, 0.52066, 6.28473), (5, 0.59913, 2.87356), (10, 0.68784, 1.82561), (20, 0.76049, 1.46057)],
)
def test_chi_square_limits_of_a_standard_deviation(count: int, low: float, high: float) -> None:
    assert scatter_interval(Sample(count, 0.0, 1.0)) == pytest.approx((low, high), abs=1e-5)


def test_welch_on_mileage() -> None:
    """NIST/SEMATECH e-Handbook, section 1.3.5.3 (AUTO83B), as in Boost.Math's examples."""
    test = welch_t(Sample(249, 20.14458, 6.414700), Sample(79, 30.48101, 6.107710))
    assert test.dof == pytest.approx(136.87499, abs=1e-5)
    assert test.statistic == pytest.approx(-12.946267565658848, rel=1e-9)
    assert test.p == pytest.approx(1.5709046e-25, rel=1e-4)


def test_pooled_table_of_mileage_is_the_square_of_the_pooled_t() -> None:
    """The same data pooled: t -12.621 with 326 degrees of freedom, s 6.3426 (via Boost.Math)."""
    (pair,) = tukey([Sample(249, 20.14458, 6.414700), Sample(79, 30.48101, 6.107710)])
    assert pair.dof == 326
    assert pair.difference / pair.u == pytest.approx(-12.620585, abs=1e-6)
    assert pair.u / math.sqrt(1 / 249 + 1 / 79) == pytest.approx(6.3426, abs=5e-5)


def test_pooled_t_of_the_general_library() -> None:
    """scipy.stats.ttest_ind_from_stats, worked example of its manual."""
    (pair,) = tukey([Sample(13, 15.0, math.sqrt(87.5)), Sample(11, 12.0, math.sqrt(39.0))])
    assert pair.difference / pair.u == pytest.approx(0.9051358093310269, rel=1e-12)
    assert pair.p == pytest.approx(0.3751996797581487, rel=1e-9)


def test_tukey_of_the_handbook() -> None:
    pairs = {(p.first + 1, p.second + 1): p for p in tukey([sample_of(g) for g in NIST_GROUPS])}
    printed = {  # difference second less first as printed, hence the turned signs below
        (1, 2): (0.29, 4.47),
        (1, 3): (1.13, 5.31),
        (1, 4): (-1.93, 2.25),
        (2, 3): (-1.25, 2.93),
        (2, 4): (-4.31, -0.13),
        (3, 4): (-5.15, -0.97),
    }
    for key, (low, high) in printed.items():
        got = pairs[key].interval
        assert (-got[1], -got[0]) == pytest.approx((low, high), abs=0.011), key
    assert pairs[1, 2].half_width == pytest.approx(2.087368, abs=1e-5)
    p = [pairs[k].p for k in ((1, 2), (1, 3), (1, 4), (2, 3), (2, 4), (3, 4))]
    computed = [0.0227934, 0.0022108, 0.9961211, 0.6644649, 0.0351545, 0.0034506]
    assert p == pytest.approx(computed, abs=2e-6)


def test_handbook_analyses_of_variance() -> None:
    table = one_way(NIST_GROUPS)
    assert table.residual_sd**2 == pytest.approx(1.330750, abs=1e-6)
    assert (table.statistic, table.p) == pytest.approx((9.723840, 0.000684), abs=1e-6)
    welch = welch_anova([sample_of(g) for g in NIST_GROUPS])
    assert (welch.statistic, welch.p) == pytest.approx((8.072769, 0.0066724), abs=1e-6)


def test_tukey_kramer_on_unequal_counts() -> None:
    """Output of SAS, quoted in the tests of scipy.stats.tukey_hsd."""
    groups = (
        (24.5, 23.5, 26.28, 26.4, 27.1, 29.9, 30.1, 30.1),
        (28.4, 34.2, 29.5, 32.2, 30.1),
        (26.1, 28.3, 24.3, 26.2, 27.8),
    )
    pairs = {(p.first + 1, p.second + 1): p for p in tukey([sample_of(g) for g in groups])}
    low, high = pairs[1, 2].interval
    assert (-high, -low) == pytest.approx((0.2679292645, 7.022070736), abs=1e-5)
    assert pairs[2, 3].interval == pytest.approx((0.5934764007, 8.086523599), abs=1e-5)
    low, high = pairs[1, 3].interval
    assert (-high, -low) == pytest.approx((-4.072070736, 2.682070736), abs=1e-5)


def test_tukey_agrees_with_the_general_library() -> None:
    from scipy.stats import tukey_hsd

    theirs = tukey_hsd(*NIST_GROUPS)
    interval = theirs.confidence_interval(0.95)
    for pair in tukey([sample_of(g) for g in NIST_GROUPS]):
        at = (pair.first, pair.second)
        assert pair.p == pytest.approx(theirs.pvalue[at], abs=1e-9)
        assert pair.interval == pytest.approx((interval.low[at], interval.high[at]), abs=1e-7)


@pytest.mark.parametrize(
    ("groups", "dof", "q"),
    [  # (4, 30) and (4, 40) print as 3.845 and 3.791 in common tables; the rest computed
        (4, 30, 3.845), (4, 40, 3.791), (2, 10, 3.1511), (3, 10, 3.8768), (3, 20, 3.5779),
        (4, 16, 4.0461), (4, 20, 3.9583), (5, 20, 4.2319),
    ],
)  # fmt: skip
def test_studentized_range_table(groups: int, dof: int, q: float) -> None:
    assert critical_range(groups, float(dof)) == pytest.approx(q, abs=6e-4)


@pytest.mark.parametrize("groups", [2, 3, 4, 7, 12])
@pytest.mark.parametrize("dof", [1.0, 2.5, 4.0, 8.3, 40.0, 300.0, math.inf])
@pytest.mark.parametrize("q", [0.7, 3.0, 6.0, 40.0])
def test_studentized_range_agrees_with_the_general_library(
    groups: int, dof: float, q: float
) -> None:
    from scipy.stats import studentized_range

    assert range_cdf(q, groups, dof) == pytest.approx(
        studentized_range.cdf(q, groups, dof), abs=1e-10
    )


def test_games_howell_by_hand() -> None:
    """Equations of Games and Howell (1976) written out for one pair of the handbook's data."""
    a, b = np.array(NIST_GROUPS[0]), np.array(NIST_GROUPS[2])
    parts = a.var(ddof=1) / 5, b.var(ddof=1) / 5
    dof = sum(parts) ** 2 / (parts[0] ** 2 / 4 + parts[1] ** 2 / 4)
    half = critical_range(4, dof) * math.sqrt(sum(parts) / 2)
    pair = next(p for p in games_howell([sample_of(g) for g in NIST_GROUPS]) if p.second == 2)
    assert pair.first == 0
    assert pair.dof == pytest.approx(dof, rel=1e-12)
    assert pair.half_width == pytest.approx(half, rel=1e-12)


def test_games_howell_of_two_groups_is_welch() -> None:
    a, b = sample_of(NIST_GROUPS[0]), sample_of(NIST_GROUPS[1])
    (pair,) = games_howell([a, b])
    welch = welch_t(a, b)
    assert pair.p == pytest.approx(welch.p, rel=1e-10)
    assert welch.dof == pytest.approx(welch_dof(((a.u**2, 4), (b.u**2, 4))))


TIETJEN_MOORE = (199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)


def test_grubbs_on_uranium_isotopes() -> None:
    """Tietjen and Moore (1972); NIST/SEMATECH e-Handbook, section 1.3.5.17.1."""
    found = grubbs(TIETJEN_MOORE)
    assert found.place == 7
    assert found.statistic == pytest.approx(2.468765, abs=1e-6)
    assert found.critical == pytest.approx(2.126645, abs=1e-6)
    assert found.stands_out
    assert grubbs_critical(8, two_sided=False) == pytest.approx(2.032, abs=5e-4)
    assert grubbs(TIETJEN_MOORE[:-1]).stands_out is False


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


def test_sample_size_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, section 7.2.2.2 (its steps from memory): 9, then 11 with t."""
    assert shots_to_detect(1.0, 1.0, (0.05, 0.10), sides=1) == 11


@pytest.mark.parametrize(
    ("effect", "count"),
    [(0.5, 64), (0.8, 26), (1.0, 17), (1.5, 9), (2.0, 6)],
)
def test_shots_per_group(effect: float, count: int) -> None:
    """Cohen (1988), table 2.4.1 for 0.5 and 0.8 (from memory); the rest computed."""
    assert shots_to_tell(effect, (1.0, 1.0)) == count


def test_power_of_five_shots_each() -> None:
    """Computed from the noncentral t."""
    assert power_of_two(1.0, (1.0, 1.0), (5, 5)) == pytest.approx(0.28630, abs=1e-5)
    assert power_of_two(2.0, (1.0, 1.0), (5, 5)) == pytest.approx(0.79054, abs=1e-5)


def test_shots_for_a_half_width() -> None:
    """Half width 0.2 m at scatter 0.5 m: 25 by the normal formula, 27 with Student's factor."""
    assert shots_for_half_width(0.2, 0.5) == 27
