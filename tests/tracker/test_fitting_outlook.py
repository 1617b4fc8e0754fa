"""What is predicted of a fit, against the bound, against fits of drawn positions, and its laws."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.cramer_rao import cramer_rao
from tests.tracker.fitting_case import (
    FRAME_S,
    PIXEL_U,
    SIZE_PX,
    calibrated,
    circumstances,
    departures,
    positions,
)
from tracker.fitting import Instants, expected_fit, expected_flight, figures_of
from tracker.fitting.circumstances import LIFT_FADE
from tracker.fitting.parameters import FADE_AT, LIFT_AT

KNOWN = circumstances(calibrated())
SPEED_MPS = 19.0 * np.array([np.cos(0.7), 0.01, np.sin(0.7)])
FIGURES = ("exit_speed_mps", "launch_angle_deg", "azimuth_deg", "carry_m", "apex_m")


def seen(known, flight):
    """The frames of a whole flight, with the places' row shares, at PIXEL_U."""
    times = np.arange(0.5 * FRAME_S, flight.landing_s, FRAME_S)
    rows = known.camera.project(flight.states(times)[:, :3])[:, 1]
    instants = Instants(times, rows / SIZE_PX[1] - 0.5, np.full(len(times), 0.02))
    return instants, np.repeat((PIXEL_U**2 * np.eye(2))[None], len(times), axis=0)


def test_it_is_the_bound() -> None:
    flight = expected_flight(KNOWN, SPEED_MPS)
    instants, covariances = seen(KNOWN, flight)
    predicted = flight.figures.u(expected_fit(KNOWN, flight, instants, covariances).covariance)
    bound = cramer_rao(KNOWN, flight.parameters, instants, covariances)
    for name, u in bound.items():
        assert predicted[name] == pytest.approx(u, rel=1e-3), name


@pytest.mark.campaign
def test_fits_of_drawn_positions_scatter_as_predicted() -> None:
    """JCGM 101: propagation of distributions, every error drawn from what is said of it."""
    flight = expected_flight(KNOWN, SPEED_MPS)
    instants, covariances = seen(KNOWN, flight)
    predicted = flight.figures.u(expected_fit(KNOWN, flight, instants, covariances).covariance)
    rng = np.random.default_rng(77)
    errors = []
    for _ in range(24):
        truth = KNOWN.prior_mean() + departures(rng, KNOWN)
        # Predicted is a ball without lift, so that its fade has no say.
        truth[FADE_AT], truth[LIFT_AT] = LIFT_FADE, 0.0
        truth[0], truth[4:7] = 0.5, SPEED_MPS
        case = positions(rng, KNOWN, truth)
        fitted, true = (figures_of(KNOWN, each) for each in (case.fit().parameters, case.truth))
        errors.append([fitted.value(name) - true.value(name) for name in FIGURES])
    ratio = np.sqrt(np.mean(np.square(errors), axis=0)) / [predicted[name] for name in FIGURES]
    # Two dozen draws tell a standard deviation to 14 %: three of them either way.
    assert np.all((ratio > 0.6) & (ratio < 1.45)), dict(zip(FIGURES, ratio, strict=True))


def test_u_goes_with_the_noise_when_all_else_is_known() -> None:
    sure = replace(
        KNOWN,
        camera=KNOWN.camera.with_covariance(np.zeros((14, 14))),
        release_u_m=1e-6,
        drag_u=1e-9,
        lift_u=1e-9,
        wind_u_mps=1e-9,
        readout_u_s=1e-9,
        gravity_u_mps2=1e-9,
        drag_slope_u=0.0,
        gust_u_mps=0.0,
    )
    flight = expected_flight(sure, SPEED_MPS)
    instants, covariances = seen(sure, flight)
    instants = replace(instants, lean=np.zeros(len(instants.times_s)))
    one, three = (
        flight.figures.u(expected_fit(sure, flight, instants, factor * covariances).covariance)
        for factor in (1.0, 9.0)
    )
    for name in FIGURES:
        assert three[name] == pytest.approx(3.0 * one[name], rel=1e-4), name


def test_a_ball_that_never_comes_down_has_no_flight() -> None:
    held = replace(KNOWN, forces=replace(KNOWN.forces, gravity_mps2=1e-4))
    assert expected_flight(held, SPEED_MPS) is None
