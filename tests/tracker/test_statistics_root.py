"""Roots of functions of one number, against the general library."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from tracker.statistics.root import root_between


@given(st.floats(-5.0, 5.0), st.floats(0.2, 6.0))
def test_a_root_is_that_of_brent_s_method(place: float, steepness: float) -> None:
    def function(x: float) -> float:
        return math.tanh(steepness * (x - place)) + 0.1 * (x - place) ** 3

    found = root_between(function, -7.0, 9.0, 1e-12)
    assert found == pytest.approx(brentq(function, -7.0, 9.0, xtol=1e-13), abs=1e-9)


def test_few_steps_are_enough() -> None:
    calls = []

    def function(x: float) -> float:
        calls.append(x)
        return math.exp(-x) - 0.3

    assert root_between(function, 0.0, 40.0, 1e-10) == pytest.approx(-math.log(0.3), abs=1e-9)
    assert len(calls) < 30


def test_an_end_may_be_the_root_and_equal_signs_are_refused() -> None:
    assert root_between(lambda x: x, 0.0, 1.0, 1e-9) == 0.0
    assert root_between(lambda x: x - 1.0, 0.0, 1.0, 1e-9) == 1.0
    with pytest.raises(ValueError, match="same sign"):
        root_between(lambda x: x * x + 1.0, -1.0, 1.0, 1e-9)
