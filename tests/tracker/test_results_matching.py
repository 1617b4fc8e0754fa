"""Shots are recognised by their time of release."""

from hypothesis import given
from hypothesis import strategies as st

from tracker.results.matching import MATCHING_S, paired


def test_the_nearest_pair_comes_first() -> None:
    assert paired([0.98, 4.2, 4.02, 6.0], [1.0, 4.0, 9.0]) == {0: 0, 2: 1}
    assert paired([], [1.0]) == {} == paired([1.0], [])


def test_the_bound_is_inclusive_and_sharp() -> None:
    assert paired([0.0], [MATCHING_S]) == {0: 0}
    assert paired([0.0], [MATCHING_S * 1.001]) == {}


TIMES = st.lists(st.integers(0, 600), unique=True, max_size=8)


@given(TIMES, st.floats(-0.12, 0.12), st.randoms(use_true_random=False))
def test_shots_a_second_apart_are_found_again_whatever_their_order(times, shift, chance) -> None:
    wanted = [float(time) for time in times]
    order = list(range(len(wanted)))
    chance.shuffle(order)
    found = [wanted[index] + shift for index in order]
    assert paired(found, wanted) == dict(enumerate(order))
