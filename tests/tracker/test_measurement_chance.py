"""Whether chance explains a path: alone in its frames, among others, and missed in some."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.test_measurement_visibility import FRAMES, PLAIN, SEEN
from tracker.following.support import MISS
from tracker.measurement.chance import FIXING, LEAST_SUPPORT, support_against_chance
from tracker.measurement.visibility import AROUND_PX, Crossing

ON_PATH = np.zeros((FRAMES, 2))
ALL = np.ones(FRAMES, bool)


def first(count: int) -> Crossing:
    return Crossing(PLAIN.frames[:count], PLAIN.pixels[:count], PLAIN.gains[:count])


def among(count: int, others: int) -> Crossing:
    """The first frames, with a ring of other candidates about the ball in each."""
    angles = np.linspace(0.0, 2.0 * np.pi, others, endpoint=False)
    ring = 0.5 * AROUND_PX * np.column_stack([np.cos(angles), np.sin(angles)])
    frames = [
        replace(
            each,
            pixels=np.vstack([each.pixels, each.pixels[0] + ring]),
            strength=np.ones(others + 1),
        )
        for each in PLAIN.frames[:count]
    ]
    return Crossing(frames, PLAIN.pixels[:count], PLAIN.gains[:count])


def support(crossing: Crossing, residuals: np.ndarray = ON_PATH, used: np.ndarray = ALL) -> float:
    count = len(crossing.frames)
    used = used & (np.arange(FRAMES) < count)
    return support_against_chance(SEEN, residuals, used, crossing)


def test_a_path_that_is_alone_in_its_frames_is_soon_beyond_chance() -> None:
    assert support(first(6)) > LEAST_SUPPORT
    assert support(first(FIXING)) == 0.0


def test_the_same_path_among_many_others_is_chance() -> None:
    assert support(among(6, 30)) < LEAST_SUPPORT < support(among(FRAMES, 1))
    crowded = [support(among(12, others)) for others in (1, 5, 25)]
    assert np.all(np.diff(crowded) < -(12 - FIXING))


def test_positions_off_the_path_support_it_less() -> None:
    near, off = (np.column_stack([np.full(FRAMES, by), np.zeros(FRAMES)]) for by in (0.1, 0.25))
    assert support(PLAIN) > support(PLAIN, near) > support(PLAIN, off)
    # At two and a half standard deviations the densities differ by half the squared distance.
    lost = (FRAMES - FIXING) * 0.5 * (2.5**2 - 1.0**2)
    assert support(PLAIN, near) - support(PLAIN, off) == pytest.approx(lost, rel=0.05)


def test_each_missed_frame_costs_a_miss() -> None:
    some = np.arange(FRAMES) < 40
    fewer = support(PLAIN, used=some)
    alone = support(first(40), used=some)
    # The density is that over all frames of the path, where no other candidate was seen either.
    gained = (40 - FIXING) * np.log(FRAMES / 40.0)
    assert fewer == pytest.approx(alone + (FRAMES - 40) * MISS + gained, abs=0.1)
