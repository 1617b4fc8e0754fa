"""Laws that the statistics keep whatever the numbers."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tracker.statistics import (
    Sample,
    difference,
    games_howell,
    grubbs,
    landing_region,
    mean_interval,
    mean_with_shared,
    next_interval,
    power_of_two,
    random_effects_mean,
    sample_of,
    scatter_interval,
    shots_to_tell,
    tukey,
    welch_anova,
    welch_t,
)

values = st.lists(st.floats(-50, 50), min_size=3, max_size=9).filter(lambda v: np.ptp(v) > 1e-3)
counts = st.integers(2, 30)
means = st.floats(-100, 100)
scatters = st.floats(0.01, 20)
samples = st.builds(Sample, counts, means, scatters)
law = settings(deadline=None, max_examples=60)


@law
@given(values, st.randoms(use_true_random=False))
def test_order_does_not_matter(numbers: list[float], random) -> None:
    shuffled = numbers[:]
    random.shuffle(shuffled)
    a, b = sample_of(numbers), sample_of(shuffled)
    assert (a.mean, a.sd) == pytest.approx((b.mean, b.sd), rel=1e-9, abs=1e-9)


@law
@given(values, st.floats(0.01, 1000), st.floats(-1e3, 1e3))
def test_units_do_not_matter(numbers: list[float], scale: float, shift: float) -> None:
    plain = sample_of(numbers)
    moved = sample_of(np.array(numbers) * scale + shift)
    for interval in (mean_interval, next_interval):
        want = [end * scale + shift for end in interval(plain)]
        assert interval(moved) == pytest.approx(want, rel=1e-6, abs=1e-6 * scale)
    want = [end * scale for end in scatter_interval(plain)]
    assert scatter_interval(moved) == pytest.approx(want, rel=1e-5)


@law
@given(samples)
def test_the_next_value_is_less_certain_than_the_mean(sample: Sample) -> None:
    low, high = mean_interval(sample)
    next_low, next_high = next_interval(sample)
    assert next_low <= low <= sample.mean <= high <= next_high


@law
@given(samples, samples)
def test_differences_turn_their_sign(a: Sample, b: Sample) -> None:
    assert welch_t(a, b).statistic == pytest.approx(-welch_t(b, a).statistic)
    assert welch_t(a, b).p == pytest.approx(welch_t(b, a).p)


@law
@given(samples, samples)
def test_welch_of_two_groups_is_the_square_of_welch_t(a: Sample, b: Sample) -> None:
    table, test = welch_anova([a, b]), welch_t(a, b)
    assert table.statistic == pytest.approx(test.statistic**2, rel=1e-9)
    assert table.within_dof == pytest.approx(test.dof, rel=1e-9)
    assert table.p == pytest.approx(test.p, rel=1e-6, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(st.lists(means, min_size=3, max_size=3), scatters, st.integers(2, 12))
def test_equal_scatter_and_size_leave_games_howell_only_fewer_degrees_of_freedom(
    centres: list[float], sd: float, count: int
) -> None:
    groups = [Sample(count, mean, sd) for mean in centres]
    for gh, hsd in zip(games_howell(groups), tukey(groups), strict=True):
        assert gh.u == pytest.approx(hsd.u)
        assert gh.dof == pytest.approx(2 * (count - 1))
        assert hsd.dof == 3 * (count - 1)
        assert gh.half_width >= hsd.half_width * (1 - 1e-9)


@settings(max_examples=10, deadline=None)
@given(st.lists(means, min_size=3, max_size=3), scatters)
def test_many_shots_make_games_howell_and_tukey_one(centres: list[float], sd: float) -> None:
    groups = [Sample(20_000, mean, sd) for mean in centres]
    for gh, hsd in zip(games_howell(groups), tukey(groups), strict=True):
        assert gh.half_width == pytest.approx(hsd.half_width, rel=1e-3)


@law
@given(samples, st.floats(0, 10))
def test_a_shared_error_only_adds(sample: Sample, shared: float) -> None:
    alone = mean_with_shared(sample, 0.0)
    with_it = mean_with_shared(sample, shared)
    assert alone.u == pytest.approx(sample.u)
    assert alone.dof == pytest.approx(sample.dof)
    assert with_it.u >= alone.u
    assert with_it.dof >= alone.dof * (1 - 1e-12)


@law
@given(samples, samples, st.floats(0, 0.2))
def test_a_proportional_error_leaves_its_share_of_the_difference(
    a: Sample, b: Sample, share: float
) -> None:
    assume(a.mean * b.mean > 0)
    found = difference(a, b, (share * abs(a.mean), share * abs(b.mean)), 1.0)
    scatter = math.hypot(a.u, b.u)
    assert found.u == pytest.approx(math.hypot(scatter, share * (a.mean - b.mean)), rel=1e-6)
    apart = difference(a, b, (share * abs(a.mean), share * abs(b.mean)), 0.0)
    assert apart.u >= found.u * (1 - 1e-9)


@law
@given(values, st.floats(0.01, 10))
def test_equal_uncertainties_leave_the_plain_mean(numbers: list[float], u: float) -> None:
    plain = sample_of(numbers)
    found = random_effects_mean(numbers, [u] * len(numbers))
    assert found.mean.value == pytest.approx(plain.mean, abs=1e-9)
    assert found.between_sd**2 == pytest.approx(max(0.0, plain.sd**2 - u**2), abs=1e-6)
    assert found.mean.u == pytest.approx(max(plain.u, u / math.sqrt(plain.count)), rel=1e-6)


@law
@given(values, st.floats(0.1, 10), st.floats(-100, 100))
def test_grubbs_sees_neither_unit_nor_origin(
    numbers: list[float], scale: float, shift: float
) -> None:
    a, b = grubbs(numbers), grubbs(np.array(numbers) * scale + shift)
    assert a.statistic == pytest.approx(b.statistic, rel=1e-6)
    # No value of n can lie farther out than (n - 1) / sqrt(n) deviations.
    assert a.statistic <= (len(numbers) - 1) / math.sqrt(len(numbers)) * (1 + 1e-9)


@law
@given(st.floats(0.1, 5), scatters, scatters, counts, counts)
def test_power_lies_between_the_false_alarm_and_certainty_and_grows(
    gap: float, sd: float, other: float, n: int, m: int
) -> None:
    power = power_of_two(gap, (sd, other), (n, m))
    assert 0.05 - 1e-9 <= power <= 1.0
    assert power_of_two(2 * gap, (sd, other), (n, m)) >= power - 1e-9


@law
@given(st.floats(0.5, 5), st.floats(0.1, 3), st.floats(0.1, 3))
def test_the_sample_size_is_the_least_that_does(gap: float, sd: float, other: float) -> None:
    count = shots_to_tell(gap, (sd, other))
    assert power_of_two(gap, (sd, other), (count, count)) >= 0.8
    assert count == 2 or power_of_two(gap, (sd, other), (count - 1, count - 1)) < 0.8


@law
@given(st.integers(3, 12), st.floats(-180, 180), st.integers(0, 10_000))
def test_a_region_turns_with_the_ground(count: int, turn: float, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(count, 2)) * [3.0, 0.5]
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    rotation = np.array([[c, -s], [s, c]])
    a, b = landing_region(points, 0.5), landing_region(points @ rotation.T, 0.5)
    assert a.semi_axes == pytest.approx(b.semi_axes, rel=1e-6)
    off = (b.direction_deg - a.direction_deg - turn) % 180.0
    round_one = a.semi_axes[1] > 0.999 * a.semi_axes[0]
    assert round_one or min(off, 180.0 - off) == pytest.approx(0.0, abs=1e-2)
    assert landing_region(points, 0.95).semi_axes[0] > a.semi_axes[0]
    assert landing_region(points, 0.5, of="mean").semi_axes[0] < a.semi_axes[0]


@pytest.mark.parametrize("count", [3, 5, 12])
@pytest.mark.parametrize("level", [0.5, 0.95])
def test_the_region_holds_the_next_shot_as_often_as_it_claims(count: int, level: float) -> None:
    draw = np.random.default_rng(count)
    held = 0
    trials = 3000
    for _ in range(trials):
        points = draw.normal(size=(count + 1, 2)) @ np.array([[2.0, 0.0], [0.7, 0.4]])
        held += bool(landing_region(points[:-1], level).holds(points[-1:])[0])
    # Three standard deviations of a count of 3000.
    assert held / trials == pytest.approx(level, abs=3 * math.sqrt(level * (1 - level) / trials))


def test_games_howell_keeps_its_family_promise_under_unequal_scatter() -> None:
    """Three equal means, scatters 1, 2, 4, five shots each: at most about 5 % false alarms."""
    draw = np.random.default_rng(1976)
    trials, alarms = 400, 0
    for _ in range(trials):
        groups = [sample_of(draw.normal(0.0, sd, 5)) for sd in (1.0, 2.0, 4.0)]
        alarms += any(pair.told_apart for pair in _rounded(groups))
    assert alarms / trials <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / trials)


def _rounded(groups: list[Sample]) -> list:
    """Games and Howell's pairs with degrees of freedom cut to halves, so quantiles are reused."""
    from tracker.statistics.pairwise import Pair, critical_range
    from tracker.statistics.variance import welch_dof

    pairs = []
    for i, a in enumerate(groups):
        for j in range(i + 1, len(groups)):
            b = groups[j]
            dof = math.floor(2 * welch_dof(((a.u**2, a.dof), (b.u**2, b.dof)))) / 2
            u = math.hypot(a.u, b.u)
            half = critical_range(len(groups), dof) / math.sqrt(2) * u
            pairs.append(Pair(i, j, a.mean - b.mean, u, dof, half, 1.0))
    return pairs
