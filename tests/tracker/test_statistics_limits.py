"""Statistics of too little: they say so instead of guessing."""

import math

import numpy as np
import pytest

from tracker.statistics import (
    Sample,
    coverage_interval,
    difference,
    e_number,
    games_howell,
    grubbs,
    grubbs_critical,
    landing_region,
    mean_interval,
    mean_with_shared,
    median_miss,
    next_interval,
    one_way,
    power_of_two,
    random_effects_mean,
    sample_of,
    scatter_interval,
    shots_for_half_width,
    shots_to_tell,
    tukey,
    welch_anova,
    welch_t,
)
from tracker.statistics.line import fit_line

ONE = sample_of([30.0])
STILL = sample_of([30.0, 30.0])


def test_one_value_has_no_scatter_and_no_interval() -> None:
    assert (ONE.count, ONE.mean, ONE.scatters) == (1, 30.0, False)
    assert math.isnan(ONE.sd)
    assert mean_interval(ONE) is next_interval(ONE) is scatter_interval(ONE) is None


@pytest.mark.parametrize("bad", [[], [1.0, math.nan], [math.inf]])
def test_a_sample_is_of_finite_values(bad: list[float]) -> None:
    with pytest.raises(ValueError):
        sample_of(bad)


@pytest.mark.parametrize("test", [welch_t, lambda a, b: difference(a, b, (0, 0), 0)])
def test_two_single_values_cannot_be_compared(test) -> None:
    with pytest.raises(ValueError, match="two values"):
        test(ONE, Sample(5, 1.0, 1.0))


def test_comparisons_of_many_need_scatter_in_each() -> None:
    with pytest.raises(ValueError):
        games_howell([ONE, Sample(5, 1.0, 1.0)])
    with pytest.raises(ValueError):
        welch_anova([STILL, Sample(5, 1.0, 1.0)])
    with pytest.raises(ValueError):
        mean_with_shared(ONE, 1.0)
    with pytest.raises(ValueError):
        tukey([ONE, ONE])
    with pytest.raises(ValueError):
        one_way([[1.0, 1.0], [2.0, 2.0]])


def test_tukey_borrows_the_scatter_of_the_others_for_a_single_value() -> None:
    (pair,) = tukey([ONE, Sample(5, 20.0, 2.0)])
    assert pair.u == pytest.approx(2.0 * math.sqrt(1 + 1 / 5))
    assert pair.dof == 4


def test_values_without_any_scatter() -> None:
    assert mean_interval(STILL) == (30.0, 30.0)
    (pair,) = games_howell([STILL, STILL])
    assert (pair.half_width, pair.p, pair.told_apart) == (0.0, 1.0, False)
    assert grubbs([1.0, 1.0, 1.0]) is None
    assert grubbs([1.0, 2.0]) is None
    assert power_of_two(1.0, (0.0, 0.0), (5, 5)) == 1.0


def test_too_few_landings_make_no_region() -> None:
    points = [[30.0, 0.0], [31.0, 0.2]]
    assert landing_region(points, 0.5) is None
    assert median_miss(points) is None


def test_landings_on_a_line_make_a_flat_region() -> None:
    region = landing_region([[30.0, 0.0], [31.0, 0.0], [32.0, 0.0]], 0.5)
    assert region.semi_axes[1] == pytest.approx(0.0, abs=1e-9)
    assert region.outline().shape == (73, 2)
    assert region.holds([[31.0, 0.5]]).tolist() == [False]


def test_nothing_to_find_needs_no_number_of_shots() -> None:
    assert shots_to_tell(0.0, (1.0, 1.0)) is None
    assert shots_to_tell(1e-9, (1.0, 1.0)) is None
    assert shots_for_half_width(0.0, 1.0) is None


def test_refusals_of_the_rest() -> None:
    for call in (
        lambda: grubbs_critical(2),
        lambda: e_number(1.0, 0.0, 2.0, 0.0),
        lambda: random_effects_mean([1.0], [1.0]),
        lambda: fit_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]),
        lambda: coverage_interval([1.0]),
    ):
        with pytest.raises(ValueError):
            call()


def test_random_effects_weigh_the_better_values_more() -> None:
    found = random_effects_mean([10.0, 20.0], [0.1, 100.0])
    assert found.mean.value == pytest.approx(10.0, abs=0.01)
    assert found.between_sd == 0.0


def test_random_effects_find_the_scatter_behind_the_errors() -> None:
    draw = np.random.default_rng(4)
    u = draw.uniform(0.2, 2.0, 4000)
    found = random_effects_mean(draw.normal(30.0, 1.5, 4000) + draw.normal(0.0, u), u)
    assert found.between_sd == pytest.approx(1.5, rel=0.04)
    assert found.mean.value == pytest.approx(30.0, abs=4 * found.mean.u)
