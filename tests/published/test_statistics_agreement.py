"""Scores of ISO/IEC 17043 and ISO 13528, and the scatter of shots about their centre."""

import numpy as np
import pytest

from tracker.statistics.agreement import e_number
from tracker.statistics.landing import extreme_spread, median_miss, miss_probability, radius_for


def test_e_number() -> None:
    """Formula of ISO 13528 (as printed in the manuals of two packages for R)."""
    score = e_number(20.3, 0.4, 19.8, 0.3)
    assert score.score == pytest.approx(1.0, abs=1e-9)
    assert not e_number(20.4, 0.4, 19.8, 0.3).agrees
    assert e_number(19.4, 0.4, 19.8, 0.3).agrees


@pytest.mark.parametrize(
    ("share", "radius"),
    [(0.50, 1.177410), (0.90, 2.145966), (0.95, 2.447747), (0.99, 3.034854)],
)
def test_circular_normal_radii(share: float, radius: float) -> None:
    """Rayleigh quantiles; common tables print 1.18, 2.15, 2.45, 3.03."""
    assert radius_for(share, (1.0, 1.0)) == pytest.approx(radius, abs=1e-6)


@pytest.mark.parametrize(("radius", "share"), [(1, 0.393469), (2, 0.864665), (3, 0.988891)])
def test_circular_normal_shares(radius: float, share: float) -> None:
    assert miss_probability(radius, (1.0, 1.0)) == pytest.approx(share, abs=1e-6)


def test_elongated_scatter_tends_to_a_line() -> None:
    """With all scatter along one axis half of it lies within 0.674490 standard deviations."""
    assert radius_for(0.5, (1.0, 1e-3)) == pytest.approx(0.674490, abs=1e-5)
    assert radius_for(0.5, (1.0, 0.0)) == pytest.approx(0.674490, abs=1e-5)


@pytest.mark.parametrize(
    ("count", "spread", "variation"),
    [(3, 2.4066, 0.3705), (5, 3.0658, 0.2698), (10, 3.8112, 0.1946)],
)
def test_small_groups(count: int, spread: float, variation: float) -> None:
    """Extreme spread of public Monte Carlo tables."""
    groups = np.random.default_rng(count).normal(size=(12_000, count, 2))
    spreads = np.array([extreme_spread(group) for group in groups])
    assert spreads.mean() == pytest.approx(spread, abs=0.03)
    assert spreads.std() / spreads.mean() == pytest.approx(variation, abs=0.01)


def test_median_miss_of_many_shots() -> None:
    points = np.random.default_rng(8).normal(size=(20_000, 2))
    assert median_miss(points) == pytest.approx(1.177410, abs=0.02)
