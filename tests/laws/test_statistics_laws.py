"""Laws that the statistics keep whatever the numbers."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tracker.statistics.components import difference, mean_with_shared, random_effects_mean
from tracker.statistics.landing import landing_region
from tracker.statistics.means import Sample, sample_of, scatter_interval
from tracker.statistics.outliers import grubbs
from tracker.statistics.power import power_of_two

values = st.lists(st.floats(-50, 50), min_size=3, max_size=9).filter(lambda v: np.ptp(v) > 1e-3)
counts = st.integers(2, 30)
means = st.floats(-100, 100)
scatters = st.floats(0.01, 20)
samples = st.builds(Sample, counts, means, scatters)


@given(values, st.randoms(use_true_random=False))
def test_order_does_not_matter(numbers: list[float], random) -> None:
    shuffled = numbers[:]
    random.shuffle(shuffled)
    a, b = sample_of(numbers), sample_of(shuffled)
    assert (a.mean, a.sd) == pytest.approx((b.mean, b.sd), rel=1e-9, abs=1e-9)


@given(values, st.floats(0.01, 1000), st.floats(-1e3, 1e3))
def test_units_do_not_matter(numbers: list[float], scale: float, shift: float) -> None:
    plain = sample_of(numbers)
    moved = sample_of(np.array(numbers) * scale + shift)
    want = [end * scale + shift for end in mean_with_shared(plain, 0.0).interval()]
    got = mean_with_shared(moved, 0.0).interval()
    assert got == pytest.approx(want, rel=1e-6, abs=1e-6 * scale)
    want = [end * scale for end in scatter_interval(plain)]
    assert scatter_interval(moved) == pytest.approx(want, rel=1e-5)


@given(samples, samples)
def test_differences_turn_their_sign(a: Sample, b: Sample) -> None:
    one, other = difference(a, b, (0.1, 0.2), 0.5), difference(b, a, (0.2, 0.1), 0.5)
    assert one.value == pytest.approx(-other.value)
    assert (one.u, one.dof) == pytest.approx((other.u, other.dof))


@given(samples, st.floats(0, 10))
def test_a_shared_error_only_adds(sample: Sample, shared: float) -> None:
    alone = mean_with_shared(sample, 0.0)
    with_it = mean_with_shared(sample, shared)
    assert alone.u == pytest.approx(sample.u)
    assert alone.dof == pytest.approx(sample.dof)
    assert with_it.u >= alone.u
    assert with_it.dof >= alone.dof * (1 - 1e-12)


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


@given(values, st.floats(0.01, 10))
def test_equal_uncertainties_leave_the_plain_mean(numbers: list[float], u: float) -> None:
    plain = sample_of(numbers)
    found = random_effects_mean(numbers, [u] * len(numbers))
    assert found.mean.value == pytest.approx(plain.mean, abs=1e-9)
    assert found.between_sd**2 == pytest.approx(max(0.0, plain.sd**2 - u**2), abs=1e-6)
    assert found.mean.u == pytest.approx(max(plain.u, u / math.sqrt(plain.count)), rel=1e-6)


@given(values, st.floats(0.1, 10), st.floats(-100, 100))
def test_grubbs_sees_neither_unit_nor_origin(
    numbers: list[float], scale: float, shift: float
) -> None:
    a, b = grubbs(numbers), grubbs(np.array(numbers) * scale + shift)
    assert a.statistic == pytest.approx(b.statistic, rel=1e-6)
    # No value of n can lie farther out than (n - 1) / sqrt(n) deviations.
    assert a.statistic <= (len(numbers) - 1) / math.sqrt(len(numbers)) * (1 + 1e-9)


@given(st.floats(0.1, 5), scatters, scatters, counts, counts)
def test_power_lies_between_the_false_alarm_and_certainty_and_grows(
    gap: float, sd: float, other: float, n: int, m: int
) -> None:
    power = power_of_two(gap, (sd, other), (n, m))
    assert 0.05 - 1e-9 <= power <= 1.0
    assert power_of_two(2 * gap, (sd, other), (n, m)) >= power - 1e-9


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


@pytest.mark.parametrize(
    ("count", "level"),
    [
        (3, 0.5),
        (12, 0.95),
        *(
            pytest.param(*each, marks=pytest.mark.campaign)
            for each in ((3, 0.95), (5, 0.5), (5, 0.95), (12, 0.5))
        ),
    ],
)
def test_the_region_holds_the_next_shot_as_often_as_it_claims(count: int, level: float) -> None:
    draw = np.random.default_rng(count)
    held = 0
    trials = 3000
    for _ in range(trials):
        points = draw.normal(size=(count + 1, 2)) @ np.array([[2.0, 0.0], [0.7, 0.4]])
        held += bool(landing_region(points[:-1], level).holds(points[-1:])[0])
    # Three standard deviations of a count of 3000.
    assert held / trials == pytest.approx(level, abs=3 * math.sqrt(level * (1 - level) / trials))
