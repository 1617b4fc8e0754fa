"""Small pieces of the model of a flight against what they stand for."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.tracker.fitting_case import drawn
from tracker.fitting.gravity import _first_guess
from tracker.fitting.model import by_turn
from tracker.fitting.parameters import GRAVITY_AT, RELEASE_AT, VELOCITY_AT


@pytest.mark.parametrize(
    "turn", [(0.0, 0.0, 0.0), (0.05, 0.0, 0.0), (0.0, -0.06, 0.01), (0.03, 0.02, 0.05)]
)
def test_the_growth_of_a_turn_is_that_of_composed_rotations(turn):
    """R(v + dv) is R(J dv) R(v); the rotations are scipy's."""
    turn, step = np.array(turn), 1e-5
    grown = [
        (
            Rotation.from_rotvec(turn + step * axis)
            * Rotation.from_rotvec(turn - step * axis).inv()
        ).as_rotvec()
        / (2.0 * step)
        for axis in np.eye(3)
    ]
    # What is left out is of the fourth order: below 1e-6 for six hundredths.
    assert by_turn(turn) == pytest.approx(np.column_stack(grown), abs=1.5e-7)


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_the_check_by_gravity_starts_near_the_flight(seed):
    """A cubic on the plane of the firing line: some percent off where drag and lift change."""
    case = drawn(np.random.default_rng(seed))
    guess = _first_guess(case.circumstances, case.observed)
    assert guess[RELEASE_AT] == pytest.approx(case.truth[RELEASE_AT], abs=0.03)
    assert guess[VELOCITY_AT] == pytest.approx(case.truth[VELOCITY_AT], abs=1.5)
    assert guess[GRAVITY_AT] == pytest.approx(case.truth[GRAVITY_AT], abs=4.0)
