"""Small pieces of the model of a flight against what they stand for."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calibration.camera import by_turn
from tests.tracker.fitting_case import drawn
from tracker.fitting.choice import flight_model
from tracker.fitting.gravity import _first_guess
from tracker.fitting.parameters import GRAVITY_AT, LIFT_AT, RELEASE_AT, VELOCITY_AT


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


@pytest.fixture(scope="module")
def case():
    return drawn(np.random.default_rng(34))


@pytest.mark.parametrize(
    ("factor", "found"),
    [(3.5, "supported"), (2.5, "undecided"), (-0.5, "undecided"), (-1.5, "none")],
)
def test_lift_is_named_by_the_evidence_for_it(case, factor, found):
    """Strong from a natural logarithm of 3, positive against from -1 (Kass and Raftery 1995)."""
    fitted, prior_u = case.fit(), case.circumstances.lift_u
    u = 0.3 * prior_u
    # Normal densities: 2 ln(u / prior u) + lift² / 2u².
    lift = u * np.sqrt(2.0 * (factor - 2.0 * np.log(0.3)))
    parameters, covariance = fitted.parameters.copy(), fitted.covariance.copy()
    parameters[LIFT_AT] = (lift, 0.0)
    covariance[LIFT_AT, LIFT_AT] = u**2 * np.eye(2)
    model = flight_model(
        case.circumstances, replace(fitted, parameters=parameters, covariance=covariance)
    )
    assert model.log_bayes_factor == pytest.approx(factor)
    assert model.lift == found


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_the_check_by_gravity_starts_near_the_flight(seed):
    """A cubic on the plane of the firing line: some percent off where drag and lift change."""
    case = drawn(np.random.default_rng(seed))
    guess = _first_guess(case.circumstances, case.observed)
    assert guess[RELEASE_AT] == pytest.approx(case.truth[RELEASE_AT], abs=0.03)
    assert guess[VELOCITY_AT] == pytest.approx(case.truth[VELOCITY_AT], abs=1.5)
    assert guess[GRAVITY_AT] == pytest.approx(case.truth[GRAVITY_AT], abs=4.0)
