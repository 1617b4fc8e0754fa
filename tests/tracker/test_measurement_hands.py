"""A throw's path without the hand that gave it its speed."""

import numpy as np
import pytest

from tracker.following.arcs import Arc, fit_arc
from tracker.following.throws import is_throw
from tracker.measurement.throws import without_hand

FPS, WIDTH = 60.0, 1280
PX_PER_M, GRAVITY = 60.0, 9.81


def path(speed_mps: float, push: float, held_s: float = 0.1, scatter_px: float = 0.4) -> Arc:
    """A path of 0.9 s in the air, before it in a hand that pushes by some times gravity."""
    times = np.arange(-round(held_s * FPS), round(0.9 * FPS)) / FPS
    along = np.array([np.cos(0.7), np.sin(0.7)])
    held, flown = np.minimum(times, 0.0), np.maximum(times, 0.0)
    places = np.outer(speed_mps * times + 0.5 * push * GRAVITY * held**2, along)
    places[:, 1] -= 0.5 * GRAVITY * flown**2
    pixels = 300.0 + PX_PER_M * places * [1.0, -1.0]
    pixels += np.random.default_rng(1).normal(0.0, scatter_px, pixels.shape)
    return fit_arc(np.column_stack([np.arange(len(times)), times, pixels]), 1.0 / FPS)


@pytest.mark.parametrize("speed_mps", [4.0, 8.0, 12.0])
def test_the_ball_in_the_hand_is_left_out(speed_mps: float) -> None:
    arc = path(speed_mps, push=max(6.0, speed_mps**2 / (GRAVITY * 1.0)))
    free = without_hand(arc, WIDTH, 1.0 / FPS)
    assert is_throw(free, WIDTH, 1.0 / FPS)
    assert -0.06 < free.times_s[0] < 0.02
    assert free.times_s[-1] == arc.times_s[-1]
    assert free.frames[0] == arc.frames[0] + len(arc.frames) - len(free.frames)


def test_a_flight_alone_stays_the_same_object() -> None:
    arc = path(8.0, push=0.0, held_s=0.0)
    assert without_hand(arc, WIDTH, 1.0 / FPS) is arc


def test_what_would_be_no_throw_without_it_stays_whole() -> None:
    arc = path(8.0, push=7.0)
    assert without_hand(arc, 6 * WIDTH, 1.0 / FPS) is not arc
    assert without_hand(arc, 40 * WIDTH, 1.0 / FPS) is arc
