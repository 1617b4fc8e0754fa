"""Where a path flies free of the hand that throws or catches the ball."""

import numpy as np
import pytest

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
def test_positions_in_the_hand_are_left_out_but_for_a_few_hundredths_of_a_second(fps):
    times, pixels = tossed(fps, 0.12, 0.08)
    rows = free_part(times, pixels, DIAMETER_PX)
    # Four times gravity moves the ball by the gate of 2.9 px in 0.017 s.
    assert -1.5 / fps - 0.017 < times[rows.start] < 1.5 / fps
    assert -1.5 / fps < times[rows.stop - 1] - 0.6 < 1.5 / fps + 0.017


@pytest.mark.parametrize("fps", [30.0, 60.0, 240.0])
def test_free_flight_is_kept_whole(fps):
    for seed in range(8):
        times, pixels = tossed(fps, 0.0, seed=seed)
        assert free_part(times, pixels, DIAMETER_PX) == slice(0, len(times))


def test_one_outlier_does_not_end_a_flight():
    times, pixels = tossed(60.0, 0.0)
    pixels[4] += [9.0, 0.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 0
    pixels[3] -= [0.0, 9.0]
    assert free_part(times, pixels, DIAMETER_PX).start == 5


def test_a_path_of_few_positions_is_kept_as_it_is():
    times, pixels = tossed(30.0, 0.0, flight_s=0.2)
    assert free_part(times, pixels, DIAMETER_PX) == slice(0, len(times))


def test_rough_positions_of_a_large_ball_are_kept():
    """Patches move the middle of a ball by some hundredths of its diameter."""
    times, pixels = tossed(60.0, 0.0, noise_px=1.5)
    assert free_part(times, pixels, 4.0 * DIAMETER_PX) == slice(0, len(times))
