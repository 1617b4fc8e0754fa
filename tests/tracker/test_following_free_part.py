"""Where a path flies free of the hand that throws or catches the ball."""

import numpy as np
import pytest

from tracker.flight.gravity import STANDARD_GRAVITY
from tracker.following.free_part import free_part

GRAVITY_MPS2 = 9.81
"""CODATA's standard acceleration of gravity is 9.80665 m/s²."""

DIAMETER_M = 0.066
PX_PER_M = 400.0
DIAMETER_PX = DIAMETER_M * PX_PER_M


def tossed(fps, lead_s, follow_s=0.0, noise_px=0.3, seed=3, push=4.0, flight_s=0.6):
    """Return times from the release and places of a ball that a hand throws, px.

    The hand pushes by a multiple of gravity along the throw, from rest where it has the time, and
    brakes the ball likewise where it catches it.
    """
    times = np.arange(-lead_s, flight_s + follow_s + 1e-9, 1.0 / fps)
    velocity = np.array([2.0, 3.0])
    fall = np.array([0.0, -GRAVITY_MPS2])
    pull = push * GRAVITY_MPS2 * velocity / np.linalg.norm(velocity)
    held = np.minimum(times, 0.0)
    kept = np.maximum(times - flight_s, 0.0)
    flying = np.clip(times, 0.0, flight_s)
    last = velocity + fall * flight_s
    brake = -push * GRAVITY_MPS2 * last / np.linalg.norm(last)
    places = (
        np.outer(flying, velocity)
        + np.outer(0.5 * flying**2, fall)
        + np.outer(held, velocity)
        + np.outer(0.5 * held**2, pull)
        + np.outer(kept, last)
        + np.outer(0.5 * kept**2, brake)
    )
    pixels = PX_PER_M * places * [1.0, -1.0] + [300.0, 500.0]
    return times, pixels + np.random.default_rng(seed).normal(0.0, noise_px, pixels.shape)


@pytest.mark.parametrize("fps", [30.0, 60.0, 240.0])
def test_positions_in_the_hand_are_left_out(fps):
    times, pixels = tossed(fps, 0.12, 0.08)
    rows = free_part(times, pixels, DIAMETER_PX)
    # Four times gravity moves the ball by the gate of 2.3 px in 0.015 s.
    assert -1.0 / fps - 0.015 < times[rows.start] < 1.0 / fps
    assert -1.0 / fps < times[rows.stop - 1] - 0.6 < 1.0 / fps + 0.015


@pytest.mark.parametrize("fps", [30.0, 60.0, 240.0])
def test_free_flight_is_kept_whole(fps):
    for seed in range(8):
        times, pixels = tossed(fps, 0.0, seed=seed)
        assert free_part(times, pixels, DIAMETER_PX) == slice(0, len(times))


def test_outliers_do_not_end_a_flight_that_goes_on():
    times, pixels = tossed(60.0, 0.0)
    pixels[4] += [9.0, 0.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 0
    pixels[3] -= [0.0, 9.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 0
    pixels[2] -= [0.0, 9.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 0
    pixels[:2] -= [0.0, 30.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 5


def test_a_path_of_few_positions_is_kept_as_it_is():
    times, pixels = tossed(30.0, 0.0, flight_s=0.2)
    assert free_part(times, pixels, DIAMETER_PX) == slice(0, len(times))


def test_rough_positions_of_a_large_ball_are_kept():
    """Patches move the middle of a ball by some hundredths of its diameter."""
    times, pixels = tossed(60.0, 0.0, noise_px=1.5)
    assert free_part(times, pixels, 4.0 * DIAMETER_PX) == slice(0, len(times))


def shown(fps, speed_mps, angle_deg, nearer_mps, away_m, drag_per_m, flight_s=0.9):
    """Return times and places, px, of a ball that flies before a camera without a hand.

    The picture is central (focal length 500 px), drag by the square of the speed, by steps of 1 ms.
    """
    angle = np.radians(angle_deg)
    place = np.array([-3.0, 0.0, away_m])
    velocity = np.array([speed_mps * np.cos(angle), speed_mps * np.sin(angle), -nearer_mps])
    places = []
    for _ in range(round(1000 * flight_s)):
        places.append(place)
        drag = drag_per_m * np.linalg.norm(velocity) * velocity
        velocity = velocity - 1e-3 * (drag + np.array([0.0, GRAVITY_MPS2, 0.0]))
        place = place + 1e-3 * velocity
    rows = np.arange(0, len(places), round(1000 / fps))
    kept = np.array(places)[rows]
    pixels = 500.0 * kept[:, :2] / kept[:, 2:] * [1.0, -1.0]
    return 1e-3 * rows, pixels + np.random.default_rng(5).normal(0.0, 0.08, pixels.shape)


@pytest.mark.parametrize(
    ("speed_mps", "nearer_mps", "away_m", "drag_per_m"),
    [
        (7.0, 5.0, 7.5, 0.0),
        (7.0, -6.0, 6.0, 0.0),
        (24.0, 0.0, 27.0, 0.021),
        (14.0, 3.0, 14.0, 0.021),
    ],
)
def test_perspective_and_drag_are_no_hand(speed_mps, nearer_mps, away_m, drag_per_m):
    """0.021 / m is a tennis ball's drag coefficient of 0.53 in air of 1.2 kg/m³."""
    for fps in (30.0, 62.5, 125.0):
        times, pixels = shown(fps, speed_mps, 40.0, nearer_mps, away_m, drag_per_m)
        assert free_part(times, pixels, 4.0).start == 0


def test_the_hand_of_a_distant_throw_is_found_in_precise_positions():
    """60 px a metre: a hand that pushes by four times gravity is 0.6 px off in 0.02 s."""
    times, pixels = tossed(60.0, 0.12, noise_px=0.08, flight_s=0.9)
    pixels = pixels * 60.0 / PX_PER_M
    pixels += np.random.default_rng(4).normal(0.0, 0.08, pixels.shape)
    rows = free_part(times, pixels, 4.0)
    assert -0.035 < times[rows.start] < 0.01
    rough = free_part(times, pixels, 4.0, np.full(len(times), 8.0))
    assert rough == slice(0, len(times))


@pytest.mark.parametrize(("speed_mps", "start"), [(24.0, 0), (4.0, 3)])
def test_a_fast_ball_was_pushed_harder_than_a_departure_of_a_pixel_shows(speed_mps, start):
    """At 24 m/s a hand that gives the speed within 1.5 m leaves the flight by 1.8 px in 0.03 s."""
    times, pixels = shown(62.5, speed_mps, 40.0, 0.0, 27.0, 0.0)
    pixels[:3] += [[1.5, 0.0], [1.2, 0.0], [0.9, 0.0]]
    assert free_part(times, pixels, 3.0).start == start


def test_a_launched_ball_that_is_placed_aside_for_a_while_was_not_in_a_hand():
    """To throw at 23 m/s a hand pushes with 18 times gravity, and is 5 px off after 0.05 s."""
    times = np.arange(83) / 30.0
    metre_px = 27.3
    pixels = np.column_stack(
        [480.0 * times, 400.0 - 400.0 * times + 0.5 * STANDARD_GRAVITY * metre_px * times**2]
    )
    pixels[:16, 0] += 3.5
    pixels[15, 0] -= 1.5
    assert free_part(times, pixels, u_px=np.full(83, 0.07)) == slice(0, 83)
