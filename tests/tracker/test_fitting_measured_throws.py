"""Real throws, followed by optical motion capture, seen through a simulated camera.

The throws are a public recording at 300 Hz (MIT licence) that is not part of the project; it
lies beside the project where it is developed. Without it there is nothing to test here.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.thrown_balls import Throw, seen
from tracker.fitting import Circumstances, Observations, figures_of, fit_flight
from tracker.flight.forces import Forces
from tracker.records import Track

RECORDING = Path(__file__).resolve().parents[3] / "shared" / "footage" / "measured_throws_300hz.tsv"
FREE_FLIGHTS = [(6, 1074, 210), (7, 2258, 200), (8, 3193, 190), (9, 4670, 180), (10, 5740, 220)]
"""Number of the marker, first row and rows of stretches in which the ball flies freely."""

EVERY = 5  # of 300 frames a second, so a camera of 60

pytestmark = pytest.mark.skipif(not RECORDING.exists(), reason="the recording is not here")


def flight(marker, first, count):
    """Return times (s) and points (m), along the throw and up, of one stretch."""
    lines = RECORDING.read_text(encoding="utf-8").splitlines()
    head = next(number for number, line in enumerate(lines) if line.startswith("Frame\t"))
    rows = [line.split("\t") for line in lines[head + 1 + first : head + 1 + first + count]]
    table = np.array([[float(field or 0.0) for field in row[:35]] for row in rows])
    points = table[:, 2 + 3 * marker : 5 + 3 * marker] / 1000.0
    assert np.all(np.any(points != 0.0, axis=1))
    run = points[-1, :2] - points[0, :2]
    turn = run / np.linalg.norm(run)
    level = points[:, :2] - points[0, :2]
    along, across = level @ turn, level @ np.array([-turn[1], turn[0]])
    return table[:, 1] - table[0, 1], np.column_stack([along, across, points[:, 2] + 1.0])


@pytest.mark.parametrize(("marker", "first", "count"), FREE_FLIGHTS)
def test_real_throw_is_measured_back(marker, first, count):
    times, points = flight(marker, first, count)
    # Directly, in space: a parabola in each direction, with gravity free (the recording's own
    # is 9.4 to 9.7), and a residual of millimetres.
    fits = [np.polyfit(times, points[:, axis], 2, cov=True) for axis in range(3)]
    for axis, (curve, _) in enumerate(fits):
        assert np.std(points[:, axis] - np.polyval(curve, times)) < 0.006, "not a free flight"
    start = np.array([curve[2] for curve, _ in fits])
    velocity = np.array([curve[1] for curve, _ in fits])
    gravity = -2.0 * fits[2][0][0]
    speed = float(np.linalg.norm(velocity))
    # Residuals of a marker that turns with the ball go together for some ten frames.
    direct_u = float(np.sqrt(10.0 * fits[2][1][1, 1]))

    middle = points.mean(axis=0)
    view = looking_at(middle + np.array([0.3, -6.0, 0.4]), middle, 1500.0, (1920, 1080))
    known = Circumstances(
        camera=view,
        release_m=start,
        release_u_m=0.005,
        forces=Forces(0.01, gravity),
        gravity_u_mps2=0.1,
        drag=0.5,
        drag_u=0.3,
        lift_u=0.1,
        wind_mps=(0.0, 0.0),
        wind_u_mps=0.05,
        ball_radius_m=0.03,
        readout_s=0.0,
        readout_u_s=1e-6,
    )
    rng = np.random.default_rng(marker)
    shown = slice(EVERY, None, EVERY)
    pixels = seen(view, points[shown]) + rng.normal(0, 0.3, (len(times[shown]), 2))
    count = len(pixels)
    spread = np.tile(0.09 * np.eye(2), (count, 1, 1))
    track = Track(np.arange(count), times[shown], pixels, spread, np.zeros(count))
    angle = float(np.degrees(np.arctan2(velocity[2], np.hypot(*velocity[:2]))))
    guess = replace(Throw(1.05 * speed, angle - 3.0), start_m=tuple(start), drag=0.5).launch()
    fit = fit_flight(known, Observations(track, np.zeros(count)), 0.01, guess)
    figures = figures_of(known, fit.parameters)
    u = figures.u(fit.covariance)["exit_speed_mps"]
    assert u < 0.03 * speed
    assert abs(figures.value("exit_speed_mps") - speed) < 3.0 * np.hypot(u, direct_u)
