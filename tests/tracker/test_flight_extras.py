"""Gusts, drag that follows the speed, and gravity: what bends a flight beside its launch."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.published.flight_cases import REACH, launch
from tracker.fitting.circumstances import LIFT_FADE, LIFT_FADE_U
from tracker.flight.aerodynamics import Lifts
from tracker.flight.air import Air
from tracker.flight.ball import ball_named
from tracker.flight.coefficients import FeltLift
from tracker.flight.figures import figures
from tracker.flight.forces import DRAG_AT_MPS, Forces, forces_on
from tracker.flight.gusts import (
    BALL_MPS,
    GUST_LENGTHS_M,
    GUST_MODES,
    GUST_SPAN_S,
    gust_covariance,
    gust_modes,
)
from tracker.flight.integration import EXTRAS, LAUNCH, fly, fly_many

SHOT = launch(19.0, 41.0, 0.8, drag=0.53, lift=(0.05, -0.03), wind=(1.2, -0.7))
BENT = np.array([0.02, -0.15, 0.6, 0.9, -0.6, 0.4, 0.3, 0.2, -0.1, -1.1, 0.5, 0.2, -0.3, 0.1, 0.2])
CURVED = Forces(REACH, 9.80665, ((0.0, 10.0, 20.0, 40.0), (1.2, 1.1, 1.0, 0.7)))


def reference(shot, extras, forces, times):
    """The same equations by scipy's integrator, with the wind and the drag as they are stated."""
    speeds, shape = forces.drag_curve or ((0.0, 1.0), (1.0, 1.0))

    def rate(time, state):
        modes = np.cos(np.arange(1, 7) * np.pi * time / 3.0)
        moves = np.array([shot[9] + extras[3:9] @ modes, shot[10] + extras[9:] @ modes, 0.0])
        u = state[3:] - moves
        speed = np.linalg.norm(u)
        drag = shot[6] * (np.interp(speed, speeds, shape) + extras[1] * (speed / 20.0 - 1.0))
        lift = 1.0 + extras[2] * (20.0 / speed - 1.0)
        push = -drag * u + lift * np.cross([0.0, -shot[7], shot[8]], u)
        fall = np.array([0.0, 0.0, forces.gravity_mps2 + extras[0]])
        return np.concatenate([state[3:], forces.reach_per_m * speed * push - fall])

    run = solve_ivp(
        rate, (0.0, times[-1]), shot[:6], method="DOP853", rtol=1e-10, atol=1e-10, t_eval=times
    )
    return run.y.T


@pytest.mark.parametrize("forces", [Forces(REACH), CURVED])
def test_bent_flight_is_the_integral_of_its_equations(forces):
    times = np.linspace(0.1, 2.5, 25)
    got = fly(SHOT, forces, 2.5, 0.02, extras=BENT).at(times)
    np.testing.assert_allclose(got, reference(SHOT, BENT, forces, times), atol=2e-5)


@pytest.mark.parametrize("forces", [Forces(REACH), CURVED])
def test_derivatives_by_the_extras_equal_differences(forces):
    times = np.linspace(0.05, 2.4, 9)
    flight = fly(SHOT, forces, 2.5, 0.04, with_sensitivities=True, extras=BENT)
    _, by_all = flight.at_with_sensitivities(times)
    assert by_all.shape == (9, 6, len(LAUNCH) + len(EXTRAS))
    for column in range(len(LAUNCH) + len(EXTRAS)):
        step = np.zeros(len(LAUNCH) + len(EXTRAS))
        step[column] = 1e-5
        ahead, behind = (
            fly(SHOT + sign * step[:11], forces, 2.5, 0.04, extras=BENT + sign * step[11:]).at(
                times
            )
            for sign in (1, -1)
        )
        np.testing.assert_allclose(by_all[:, :, column], (ahead - behind) / 2e-5, atol=2e-5)


def test_figures_owe_their_derivatives_to_the_extras_too():
    found = figures(fly(SHOT, CURVED, 4.0, 0.02, with_sensitivities=True, extras=BENT), 0.033)
    for column, step in enumerate(np.eye(len(EXTRAS)) * 1e-4):
        ahead, behind = (
            figures(fly(SHOT, CURVED, 4.0, 0.02, extras=BENT + sign * step), 0.033).values
            for sign in (1, -1)
        )
        wanted = (ahead - behind) / 2e-4
        # The table's straight pieces turn a little at their joints.
        np.testing.assert_allclose(found.by_launch[:, 11 + column], wanted, atol=2e-3)


def test_no_extras_is_the_plain_flight():
    plain, bent = fly(SHOT, Forces(REACH), 2.0), fly(SHOT, Forces(REACH), 2.0, extras=np.zeros(15))
    np.testing.assert_array_equal(plain.states, bent.states)


def test_what_is_expected_of_a_lift_holds_a_kept_spin_and_a_constant_coefficient():
    """C = 1 / (2 + 1 / S), as `FeltLift`, for the spins that a throw without intent has."""
    speeds = np.linspace(11.0, 24.0, 14)
    low, middle, high = (
        Lifts(1.0, 0.0, LIFT_FADE + sign * LIFT_FADE_U).weight(speeds) / speeds
        for sign in (-1, 0, 1)
    )
    reach = np.abs(high - middle)
    np.testing.assert_allclose(np.abs(middle - low), reach, atol=1e-12)
    kept = [
        np.array([FeltLift()(speed, ratio * 20.0 / speed) for speed in speeds])
        / FeltLift()(20.0, ratio)
        for ratio in (0.03, 0.06, 0.1)
    ]
    for true in (np.ones(len(speeds)), *kept):
        assert np.all(np.abs(true - middle) <= 1.1 * reach)
        assert np.abs(true - middle).max() > 0.3 * reach.max()


def test_many_flights_follow_the_curve_too():
    _, states = fly_many(np.array([SHOT]), CURVED, 2.0, 0.02)
    np.testing.assert_allclose(states[:, 0], fly(SHOT, CURVED, 2.0, 0.02).states, atol=1e-9)


def test_gusts_have_the_variance_and_memory_of_the_process():
    """The modes and the mean hold most of the variance, and forget as the process does."""
    times = np.linspace(0.0, GUST_SPAN_S, 61)
    modes = np.column_stack([np.ones(61), gust_modes(times)])
    made = modes @ gust_covariance() @ modes.T
    # What the cosines leave out: of each process about the sum over the other modes of
    # 4 T / (S (1 + (k pi T / S)^2)), with T its length over the ball's speed and S the span.
    span = np.arange(GUST_MODES + 1, 400) * np.pi / GUST_SPAN_S
    lost = np.mean(
        [
            np.sum(2.0 * t / GUST_SPAN_S / (1.0 + (span * t) ** 2))
            for t in np.array(GUST_LENGTHS_M) / BALL_MPS
        ]
    )
    assert np.mean(np.diag(made)) == pytest.approx(1.0 - lost, abs=0.05)
    lag = np.mean(np.exp(-1.0 * BALL_MPS / np.array(GUST_LENGTHS_M)))
    assert made[20, 40] == pytest.approx(lag, abs=0.08)
    assert gust_covariance().shape == (1 + GUST_MODES, 1 + GUST_MODES)
    assert np.linalg.eigvalsh(gust_covariance()).min() > 0.0


@pytest.mark.parametrize("name", ["baseball", "table tennis", "foam training"])
def test_balls_with_a_published_curve_fly_it(name):
    ball, air = ball_named(name), Air(1.2, 0.0)
    speeds, shares = forces_on(ball, air).drag_curve
    assert np.interp(DRAG_AT_MPS, speeds, shares) == pytest.approx(1.0)
    curve = ball.drag_curve(ball.reynolds(1.0, 1.2, air.viscosity_pas))
    assert np.interp(30.0, speeds, shares) == pytest.approx(curve(30.0, 0.0) / curve(20.0, 0.0))
    assert forces_on(ball_named("tennis"), air).drag_curve is None


def test_baseball_loses_more_than_half_of_its_drag_through_the_crisis():
    # Giordano and Nakanishi, Computational Physics (2006), 2.3: B/m 0.0039 + 0.0058 per metre at
    # rest, 0.0039 far above 35 m/s; from memory.
    drag = ball_named("baseball").drag_curve(1.0)
    assert drag(0.0, 0.0) / drag(100.0, 0.0) == pytest.approx(97.0 / 39.0, rel=2e-3)
    assert drag(35.0, 0.0) == pytest.approx((drag(0.0, 0.0) + drag(100.0, 0.0)) / 2.0, rel=1e-3)
