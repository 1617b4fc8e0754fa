"""Shots laid over real plates are found and measured as well as over a field that we drew.

The balls are painted finely, flown by scipy and projected by OpenCV; nothing of the project's own
drawing is in them. At 640 by 512 and 30 frames a second they are little more than a pixel across.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.stats import chi2

from tests.bench.footage import matched
from tests.footage.composite import Shown, composited, drawn_throw, thrown
from tests.footage.plates import OWN, needs_footage
from tests.footage.views import Stand, view
from tests.tracker.test_fitting_measured_throws import FREE_FLIGHTS, flight
from tracker.flight.ball import ball_from
from tracker.records import Shot

pytestmark = [needs_footage, pytest.mark.campaign]

FPS = 30.0
SIZE_PX = (640, 512)
PLATES = ("V_DRONE_034.mp4", "V_AIRPLANE_051.mp4", "V_DRONE_002.mp4", OWN)
"""Still air and sky, much that moves, a background whose pictures repeat, and a drawn one."""
STANDS = (Stand(-26.0, 65.0, 1.5, 0.10, 0.86), Stand(25.0, 66.0, 2.0, 0.12, 0.90))


@cache
def outcome(plate: str, folder) -> tuple[list[tuple[Shown, Shot | None]], int]:
    """Lay two shots over a plate; return each with its row, and how many rows are nobody's."""
    number = PLATES.index(plate)
    rng = np.random.default_rng(40 + number)
    field = view(STANDS[number % 2], SIZE_PX, rng)
    shots = [thrown(field, drawn_throw(rng, field), start) for start in (0.6, 1.9)]
    seconds = shots[-1].end_s + 0.4
    clip = composited(folder / f"{number}.mp4", plate, field, shots, FPS, seconds)
    return matched(shots, clip, field)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("composited")


@pytest.mark.parametrize("plate", PLATES)
def test_every_shot_is_found_and_nothing_else(plate, folder):
    pairs, others = outcome(plate, folder)
    assert [row is not None for _, row in pairs] == [True, True]
    assert others == 0


def test_errors_are_as_large_as_their_uncertainties_say(folder):
    # Errors of one plate share its camera, so they are not independent; the sum of squares of
    # 16 normal errors lies between the quantiles below in 99.8 of 100 trials when they are, and
    # the camera's share widens that, hence half and twice the quantiles.
    z = []
    for plate in PLATES:
        for shown, row in outcome(plate, folder)[0]:
            assert row is not None
            z.append((row.exit_speed_mps - shown.speed_mps) / row.exit_speed_u_mps)
            z.append((row.launch_angle_deg - shown.angle_deg) / row.launch_angle_u_deg)
            assert row.exit_speed_u_mps < 0.03 * shown.speed_mps
    low, high = chi2.ppf([0.001, 0.999], len(z))
    assert low / 2.0 < np.sum(np.square(z)) < 2.0 * high
    assert np.mean(np.abs(z) < 1.96) >= 0.8


SCALE = 10.0
"""Real throws of some metres, made ten times as large: with time made longer by the root of it,
gravity stays, and with the ball's mass made larger too, so does what little drag there was."""


@pytest.mark.parametrize(("marker", "first", "count"), [FREE_FLIGHTS[2], FREE_FLIGHTS[3]])
def test_real_throw_made_large_is_measured_back(marker, first, count, tmp_path):
    times, points = flight(marker, first, count)
    times, points = np.sqrt(SCALE) * times, SCALE * (points - points[0])
    fits = [np.polyfit(times, points[:, axis], 2, cov=True) for axis in range(3)]
    velocity = np.array([curve[1] for curve, _ in fits])
    speed = float(np.linalg.norm(velocity))
    direct_u = float(np.sqrt(10.0 * fits[2][1][1, 1]))
    rng = np.random.default_rng(marker)
    # Drawn at 90 mm to be seen, and as heavy as keeps the drag of a ball of 58 g and 60 mm.
    mass_g = SCALE * 58.0 * (90.0 / 60.0) ** 2
    ball = ball_from("custom", mass_g=mass_g, diameter_mm=90.0, drag_coefficient=0.5)
    field = view(Stand(-20.0, 66.0, 1.5, 0.15, 0.86), SIZE_PX, rng, ball)
    # The recording's own gravity, by which its metre is as long as it is.
    request = replace(field.request, gravity_mps2=float(-2.0 * fits[2][0][0]), gravity_u_mps2=0.1)
    field = replace(field, request=request)
    places = CubicSpline(times, points + field.release_m)
    angle = float(np.degrees(np.arctan2(velocity[2], np.hypot(*velocity[:2]))))
    high = points[:, 2] + field.release_m[2] > ball.diameter_m / 2.0
    lasts = float(times[high][-1])
    shown = Shown(0.7, 0.7 + lasts, places, ball.diameter_m / 2.0, speed, angle)
    clip = composited(
        tmp_path / "throw.mp4", "V_DRONE_034.mp4", field, [shown], FPS, shown.end_s + 0.4
    )
    ((_, row),), others = matched([shown], clip, field)
    assert row is not None and others == 0
    assert abs(row.exit_speed_mps - speed) < 3.0 * np.hypot(row.exit_speed_u_mps, direct_u)
    assert row.exit_speed_u_mps < 0.05 * speed
