"""Statistics of too little: they say so instead of guessing."""

import math

import numpy as np
import pytest
from scipy.stats import ncf

from tracker.statistics.agreement import e_number
from tracker.statistics.components import difference, mean_with_shared, random_effects_mean
from tracker.statistics.landing import landing_region, median_miss
from tracker.statistics.means import Sample, sample_of, scatter_interval
from tracker.statistics.outliers import grubbs, grubbs_critical
from tracker.statistics.pairwise import simultaneous
from tracker.statistics.power import _missed, power_of_two

ONE = sample_of([30.0])
STILL = sample_of([30.0, 30.0])


def test_one_value_has_no_scatter_and_no_interval() -> None:
    assert (ONE.count, ONE.mean, ONE.scatters) == (1, 30.0, False)
    assert math.isnan(ONE.sd)
    assert scatter_interval(ONE) is None


@pytest.mark.parametrize("bad", [[], [1.0, math.nan], [math.inf]])
def test_a_sample_is_of_finite_values(bad: list[float]) -> None:
    with pytest.raises(ValueError):
        sample_of(bad)


def test_a_single_value_is_compared_with_nothing() -> None:
    with pytest.raises(ValueError, match="two values"):
        difference(ONE, Sample(5, 1.0, 1.0), (0, 0), 0)
    with pytest.raises(ValueError, match="two values"):
        mean_with_shared(ONE, 1.0)


def test_values_without_any_scatter() -> None:
    assert mean_with_shared(STILL, 0.0).interval() == (30.0, 30.0)
    pair = simultaneous(0.0, 0.0, math.inf, 2, 0.95)
    assert (pair.half_width, pair.significant) == (0.0, False)
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


def test_refusals_of_the_rest() -> None:
    for call in (
        lambda: grubbs_critical(2),
        lambda: e_number(1.0, 0.0, 2.0, 0.0),
        lambda: random_effects_mean([1.0], [1.0]),
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


@pytest.mark.parametrize(
    ("gap", "scatters", "counts", "residue"),
    [
        (3.0, (0.140625, 0.15625), (6, 22), 0.0),
        (6.0, (0.25, 0.125), (5, 5), 0.0),
        (38.0, (0.0, 0.0), (5, 5), 1.0),
    ],
)
def test_power_is_certain_far_out_where_a_library_has_no_value(gap, scatters, counts, residue):
    """scipy 1.17 gives NaN at places such as these, and one beside them."""
    assert power_of_two(gap, scatters, counts, residue=residue) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("dof", [2.0, 5.0, 25.0])
@pytest.mark.parametrize("shift", [1.0, 3.0, 6.0])
def test_chance_to_miss_by_the_definition_of_t_is_that_of_a_noncentral_f(dof, shift):
    missed = ncf.cdf(3.0**2, 1.0, dof, shift**2)
    assert _missed(shift, 3.0, dof) == pytest.approx(missed, abs=1e-6)
