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


def predicted_u(known):
    """What is predicted of the fit of the whole expected flight, and what it was seen in."""
    flight = expected_flight(known, SPEED_MPS)
    instants, covariances = seen(known, flight)
    u = flight.figures.u(expected_fit(known, flight, instants, covariances).covariance)
    return u, flight, instants, covariances


def test_it_is_the_bound() -> None:
    known = replace(KNOWN, lift_u=1e-9)
    predicted, flight, instants, covariances = predicted_u(known)
    bound = cramer_rao(known, flight.parameters, instants, covariances)
    for name, u in bound.items():
        assert predicted[name] == pytest.approx(u, rel=1e-3), name


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_it_is_the_bound_of_a_ball_with_the_usual_lift(sign: float) -> None:
    """Up or down: how the lift fades is as open for either, while the values are without lift."""
    predicted, flight, instants, covariances = predicted_u(KNOWN)
    assert flight.parameters[LIFT_AT].tolist() == [0.0, 0.0]
    lifted = flight.parameters.copy()
    lifted[LIFT_AT.start] = sign * KNOWN.lift_u
    bound = cramer_rao(KNOWN, lifted, instants, covariances)
    without = cramer_rao(KNOWN, flight.parameters, instants, covariances)
    for name in FIGURES:
        assert predicted[name] == pytest.approx(bound[name], rel=0.12), name
    assert predicted["exit_speed_mps"] > 1.3 * without["exit_speed_mps"]
    assert predicted["carry_m"] > 1.2 * without["carry_m"]


@pytest.mark.long
def test_fits_of_drawn_positions_scatter_as_predicted() -> None:
    """JCGM 101: propagation of distributions, every error drawn from what is said of it."""
    predicted = predicted_u(KNOWN)[0]
    rng = np.random.default_rng(77)
    errors = []
    for _ in range(24):
        truth = KNOWN.prior_mean() + departures(rng, KNOWN)
        truth[FADE_AT] = LIFT_FADE
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
