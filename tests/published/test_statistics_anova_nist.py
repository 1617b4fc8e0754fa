"""Certified one-way analyses of NIST's Statistical Reference Datasets (StRD).

The numbers of SiRstv are typed from memory of the data file, and the SmLs sets are built by
their published recipe (each group holds its mean once and ten times 0.1 to either side); that
they lead to the certified sums of squares is what vouches for them.
"""

import numpy as np
import pytest

from tracker.statistics import one_way

SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)


def test_silicon_resistivity() -> None:
    table = one_way(SIRSTV)
    assert (table.between_dof, table.within_dof) == (4, 20)
    assert table.between_ss == pytest.approx(5.11462616e-2, rel=1e-8)
    assert table.within_ss == pytest.approx(2.16636560e-1, rel=1e-8)
    assert table.statistic == pytest.approx(1.18046237440255, rel=1e-9)
    assert table.residual_sd == pytest.approx(1.04076068334656e-1, rel=1e-9)
    share = table.between_ss / (table.between_ss + table.within_ss)
    assert share == pytest.approx(1.90999039051129e-1, rel=1e-9)


@pytest.mark.parametrize(("offset", "tolerance"), [(0.0, 1e-12), (1e6, 1e-7), (1e12, 1e-2)])
def test_simon_and_lesage(offset: float, tolerance: float) -> None:
    """SmLs01, SmLs04 and SmLs07: the same set behind 1, 7 and 13 constant leading digits."""
    means = offset + np.array([1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5])
    groups = [np.r_[mean, np.repeat([mean - 0.1, mean + 0.1], 10)] for mean in means]
    table = one_way(groups)
    assert (table.between_dof, table.within_dof) == (8, 180)
    assert table.between_ss == pytest.approx(1.68, rel=tolerance)
    assert table.within_ss == pytest.approx(1.80, rel=tolerance)
    assert table.statistic == pytest.approx(21.0, rel=tolerance)
    assert table.residual_sd == pytest.approx(0.1, rel=tolerance)
