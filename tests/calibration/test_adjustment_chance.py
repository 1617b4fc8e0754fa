"""The chance of a larger chi-square, against an independent implementation."""

import math

import pytest
from scipy.special import chdtrc

from calibration.adjustment.chance import chi_square_beyond


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 10, 55, 300, 4001])
@pytest.mark.parametrize("share", [1e-6, 0.01, 0.5, 0.9, 1.0, 1.1, 2.0, 10.0])
def test_it_is_that_of_the_incomplete_gamma_function(freedom, share):
    value = chi_square_beyond(freedom, share * freedom)
    assert value == pytest.approx(float(chdtrc(freedom, share * freedom)), rel=1e-9, abs=1e-300)


@pytest.mark.parametrize("freedom", [1, 2, 9])
def test_nothing_is_certain_to_be_exceeded_and_much_never(freedom):
    assert chi_square_beyond(freedom, 0.0) == 1.0
    assert chi_square_beyond(freedom, 1e6) == 0.0
    assert chi_square_beyond(freedom, math.inf) == 0.0
