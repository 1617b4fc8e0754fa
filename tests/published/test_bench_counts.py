"""Limits on a false-shot rate against the printed table of limits on a Poisson mean.

Review of Particle Physics (Particle Data Group), Statistics, table of one-sided limits at 95 %;
from memory, to the printed digits.
"""

import pytest

from tests.bench.false_alarms import Tally, limits

UPPER_95 = {0: 3.00, 1: 4.74, 2: 6.30, 3: 7.75, 4: 9.15, 5: 10.51, 10: 16.96}
LOWER_95 = {1: 0.051, 2: 0.355, 3: 0.818, 4: 1.37, 5: 1.97, 10: 5.43}


@pytest.mark.parametrize(("count", "printed"), UPPER_95.items())
def test_upper_limit(count, printed):
    assert limits(count)[1] == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(("count", "printed"), LOWER_95.items())
def test_lower_limit(count, printed):
    assert limits(count)[0] == pytest.approx(printed, rel=0.01)


def test_line_tells_the_limit_by_the_minute():
    assert "limit  0.300" in Tally(10.0, 0, 2).line("birds")
    assert "2 rejected" in Tally(10.0, 0, 2).line("birds")
