"""Derivatives that a fit rests on equal central differences, whatever the launch and camera."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import looking_at
from tests.tracker.cramer_rao import cramer_rao
from tracker.fitting import FIGURES, PARAMETERS, Circumstances, figures_of
from tracker.fitting.light import light_in_picture
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import (
    CAMERA_AT,
    FADE_AT,
    GRAVITY_AT,
    GUSTS_AT,
    LIGHT_AT,
    SLOPE_AT,
)
from tracker.flight.forces import Forces

CAMERA_U = np.array([2e-3, 2e-3, 1e-3, 0.05, 0.08, 0.03, 4e-3, 1.0, 1.0, 3e-3, 3e-3, 1e-4, 1e-4, 0])

STEPS = np.array(
    [
        *(1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4),
        *(1e-4, 1e-4, 1e-4, 1e-3, 1e-3),
        *(1e-5, 1e-2, 1e-2, 1e-2, 1e-3, 1e-4, 1e-4),
        *(1e-3,) * 12,
        *(1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-6, 1e-2, 1e-2),
        *(1e-4, 1e-4, 1e-5, 1e-5, 1e-4),
    ]
)


slow = settings(max_examples=settings.default.max_examples // 3)


def number(low, high):
    return st.floats(low, high, allow_nan=False, width=64)


@st.composite
def shots(draw):
    """Return circumstances, parameters and instants of a shot that is in front of the camera."""
    view = looking_at(
        (draw(number(5.0, 25.0)), -draw(number(18.0, 45.0)), draw(number(1.0, 4.0))),
        (draw(number(10.0, 20.0)), 0.0, draw(number(2.0, 6.0))),
        draw(number(900.0, 1800.0)),
        (1920, 1080),
        roll_rad=draw(number(-0.05, 0.05)),
        distortion=(draw(number(-0.1, 0.1)), draw(number(-0.03, 0.03)), 1e-3, -5e-4, 0.0),
    ).with_covariance(np.diag(CAMERA_U**2))
    known = Circumstances(
        camera=view,
        release_m=np.array([0.0, 0.0, 0.8]),
        release_u_m=0.02,
        forces=Forces(draw(number(0.01, 0.05)), 9.81),
        gravity_u_mps2=0.02,
        drag=0.55,
        drag_u=0.05,
        lift_u=0.05,
        wind_mps=(0.0, 0.0),
        wind_u_mps=0.5,
        ball_radius_m=0.033,
        readout_s=0.01,
        readout_u_s=1e-3,
    )
    speed, angle = draw(number(8.0, 26.0)), np.radians(draw(number(5.0, 70.0)))
    turn = np.radians(draw(number(-8.0, 8.0)))
    numbers = np.zeros(len(PARAMETERS))
    numbers[0] = draw(number(0.5, 2.0))
    numbers[1:4] = 0.02, -0.03, draw(number(0.5, 1.5))
    numbers[4:7] = speed * np.array(
        [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
    )
    numbers[7] = draw(number(0.2, 0.7))
    numbers[8], numbers[9] = draw(number(-0.15, 0.15)), draw(number(-0.15, 0.15))
    numbers[10], numbers[11] = draw(number(-3.0, 3.0)), draw(number(-3.0, 3.0))
    numbers[12], numbers[LIGHT_AT] = draw(number(0.0, 0.02)), (3.0, -4.0, 2.0)
    numbers[GRAVITY_AT] = draw(number(-0.03, 0.03))
    numbers[SLOPE_AT] = draw(number(-0.3, 0.3))
    numbers[FADE_AT] = draw(number(-0.2, 1.2))
    numbers[GUSTS_AT:CAMERA_AT] = [draw(number(-1.0, 1.0)) for _ in range(12)]
    numbers[CAMERA_AT:] = CAMERA_U * np.array([draw(number(-2.0, 2.0)) for _ in range(14)])
    times = numbers[0] + np.linspace(0.03, 0.9, 12)
    lean = np.linspace(0.05, -0.08, 12)
    return known, numbers, Instants(times, np.linspace(-0.4, 0.4, 12), lean)


def differences(function, at, steps):
    columns = []
    for index, step in enumerate(steps):
        move = np.zeros(len(at))
        move[index] = step
        columns.append((function(at + move) - function(at - move)) / (2.0 * step))
    return np.stack(columns, axis=-1)


def test_every_parameter_has_its_step():
    assert len(STEPS) == len(PARAMETERS)


@given(shots())
@slow
def test_derivatives_of_the_pixels(shot):
    known, numbers, instants = shot
    _, jacobian, _ = predict(known, numbers, instants)
    wanted = differences(lambda at: predict(known, at, instants)[0], numbers, STEPS)
    size = np.maximum(np.abs(wanted).max(axis=(0, 1)), 1e-3)
    # Left out: that the light comes from another side where a ball is seen elsewhere, which moves a
    # place by at most lean times light over the focal length, 0.08 x 5.4 / 900.
    np.testing.assert_allclose(jacobian / size, wanted / size, atol=6e-4)


@given(shots())
@slow
def test_derivatives_of_the_figures(shot):
    known, numbers, _ = shot
    got = figures_of(known, numbers)
    # The figures are those of the flight: readout, light and camera have no part in them.
    own = [*range(12), *range(PARAMETERS.index("gravity_mps2"), PARAMETERS.index("turn_x"))]

    def figures(some):
        whole = numbers.copy()
        whole[own] = some
        return figures_of(known, whole).values

    wanted = differences(figures, numbers[own], STEPS[own])
    size = np.maximum(np.abs(wanted).max(axis=0), 1e-3)
    assert np.all(np.isfinite(got.values))
    np.testing.assert_allclose(got.jacobian[:, own] / size, wanted / size, atol=2e-4)
    assert not np.delete(got.jacobian, own, axis=1).any()


@given(shots(), number(1.1, 4.0))
@slow
def test_worse_or_fewer_pixels_never_lower_the_bound(shot, worse):
    known, numbers, instants = shot
    spread = np.tile(0.09 * np.eye(2), (12, 1, 1))
    best = cramer_rao(known, numbers, instants, spread)
    rough = cramer_rao(known, numbers, instants, worse**2 * spread)
    few = Instants(instants.times_s[::2], instants.row_share[::2], instants.lean[::2])
    fewer = cramer_rao(known, numbers, few, spread[::2])
    for name in FIGURES:
        assert 0.0 < best[name] <= rough[name] * (1 + 1e-6)
        assert best[name] <= fewer[name] * (1 + 1e-6)
        assert rough[name] <= worse * best[name] * (1 + 1e-6)


@given(shots())
@slow
def test_pixels_move_with_the_light_as_the_lean_says(shot):
    known, numbers, instants = shot
    dark = numbers.copy()
    dark[LIGHT_AT] = 0.0
    moved = predict(known, numbers, instants)[0] - predict(known, dark, instants)[0]
    camera = known.camera.perturbed(numbers[CAMERA_AT:])
    sights = camera.rays(predict(known, dark, instants)[0]) @ camera.rotation.T
    lit = light_in_picture(sights) @ numbers[LIGHT_AT]
    np.testing.assert_allclose(moved, instants.lean[:, None] * lit, atol=1e-6)
