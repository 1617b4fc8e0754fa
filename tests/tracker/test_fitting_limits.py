"""No fit, integration or allocation grows with a parameter or with what a file claims."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.fitting_case import Drawn, calibrated, circumstances, drawn
from tests.tracker.thrown_balls import FORCES
from tests.work import calls_in
from tracker.fitting import Observations
from tracker.fitting.choice import log_bayes_factor
from tracker.fitting.gravity import free_gravity
from tracker.fitting.model import LONGEST_S, predict
from tracker.fitting.parameters import (
    CAMERA_ACROSS_AT,
    DRAG_AT,
    LIFT_AT,
    PARAMETERS,
    RELEASE_AT,
    SLOPE_AT,
    VELOCITY_AT,
)
from tracker.fitting.residuals import FlightResiduals
from tracker.flight.integration import MOST_STEPS, fly


@pytest.fixture(scope="module")
def case() -> Drawn:
    return drawn(np.random.default_rng(3))


@pytest.mark.parametrize("off_s", [-1e3, -1e7, -1e15])
def test_positions_far_from_the_release_are_no_flight(case, off_s):
    parameters = case.truth.copy()
    parameters[RELEASE_AT] += off_s
    with pytest.raises(NotDetermined, match="from the release"):
        predict(case.circumstances, parameters, case.observed.instants)


def test_a_flight_of_the_longest_time_is_integrated(case):
    parameters = case.truth.copy()
    last = case.observed.instants.times_s.max()
    parameters[RELEASE_AT] = last - 0.9 * LONGEST_S
    found = predict(case.circumstances, parameters, case.observed.instants)
    assert 0.9 * LONGEST_S < found.trajectory.times_s[-1] <= LONGEST_S


@pytest.mark.parametrize(("duration_s", "step_s"), [(1e9, 0.02), (10.0, 1e-9)])
def test_an_integration_of_too_many_steps_is_refused(duration_s, step_s):
    with pytest.raises(ValueError, match=str(MOST_STEPS)):
        fly(np.ones(11), FORCES, duration_s, step_s)


IMPLAUSIBLE = [
    (RELEASE_AT, -20.0),
    (RELEASE_AT, +9.0),
    (VELOCITY_AT.start, 250.0),
    (DRAG_AT, 25.0),
    (LIFT_AT.start, -25.0),
    (SLOPE_AT, 25.0),
    (CAMERA_ACROSS_AT, np.nan),
]


@pytest.mark.parametrize(
    ("place", "change"), IMPLAUSIBLE, ids=[PARAMETERS[i] for i, _ in IMPLAUSIBLE]
)
def test_parameters_of_no_thrown_ball_are_not_integrated(case, place, change):
    flight = FlightResiduals(case.circumstances, case.observed)
    strayed = case.truth.copy()
    strayed[place] += change
    factor = np.ones(len(case.track.times_s))
    residuals, slopes = flight.weighted(strayed, factor)
    assert np.isnan(residuals).all() and len(residuals) == len(slopes) == flight.count
    assert np.isfinite(flight.weighted(case.truth, factor)[0]).all()


@pytest.mark.parametrize("factor", [1e-4, 30.0, 1e5])
def test_check_by_gravity_of_a_clock_that_runs_away_ends_soon(case, factor):
    # Times stretched far beyond any flight: the first guess alone would be hours away.
    track = replace(case.track, times_s=case.track.times_s * factor)
    observed = Observations(track, case.row_share)
    fitted = replace(case.fit(), settled=False)
    usual = calls_in(lambda: free_gravity(case.circumstances, case.observed, fitted))
    found = []
    work = calls_in(lambda: found.append(free_gravity(case.circumstances, observed, fitted)))
    assert found == [None]
    assert work < 3 * usual


@pytest.mark.parametrize(
    "covariance",
    [
        np.zeros((2, 2)),
        np.diag([1e-4, -1e-4]),
        np.diag([1e-24, 1e-4]),
        np.full((2, 2), 1e-4),
        np.full((2, 2), np.nan),
    ],
    ids=["zero", "negative", "nearly singular", "singular", "not a number"],
)
def test_a_degenerate_covariance_is_no_fit(covariance):
    with pytest.raises(NotDetermined, match="not positive"):
        log_bayes_factor(np.array([0.1, 0.0]), covariance, 0.05)


def test_a_camera_known_exactly_and_no_wind_at_all_are_fitted():
    known = replace(
        circumstances(calibrated().with_covariance(np.zeros((14, 14)))),
        wind_u_mps=0.0,
        gust_u_mps=0.0,
        lift_u=0.0,
    )
    one = drawn(np.random.default_rng(4), known, wrong=False)
    fit = one.fit()
    assert fit.settled and np.isfinite(fit.covariance).all()
    u = np.sqrt(fit.covariance[VELOCITY_AT.start, VELOCITY_AT.start])
    assert fit.parameters[VELOCITY_AT] == pytest.approx(one.truth[VELOCITY_AT], abs=5.0 * u)
