"""A ball of less than two pixels is found in the frames as they are."""

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.test_following_arcs import FRAME_S, WIDTH
from tracker.following.arcs import Arc, fit_arc
from tracker.measurement import scouted_sizes
from tracker.measurement.scouted_sizes import ONE_BALL_SHARE, _Small, same_ball
from tracker.measurement.scouting import scout
from tracker.video import ClipFacts, ClipWriter, inspect

SIZE, FPS, FRAMES = (480, 270), 30.0, 46
CONTRAST = 14.0
FALL = 9.81 / 0.067
"""Gravity in a tennis ball's diameters a second squared."""


def ball_at(index: float) -> np.ndarray:
    since = index / FPS
    return np.array([30.0 + 270.0 * since, 230.0 - 240.0 * since + 0.5 * 330.0 * since**2])


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    """A ball 1.5 px wide, and so faint that a smaller picture hides it, before a plain hedge."""
    rng = np.random.default_rng(6)
    hedge = 90.0 + 4.0 * rng.normal(size=SIZE[::-1])
    columns, rows = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    path = tmp_path_factory.mktemp("small") / "far.mp4"
    with ClipWriter(path, SIZE, FPS, crf=10) as writer:
        for index in range(FRAMES):
            across, down = ball_at(index)
            spot = np.exp(-0.5 * ((columns - across) ** 2 + (rows - down) ** 2) / 0.62**2)
            shown = hedge + CONTRAST * spot + rng.normal(0.0, 1.6, hedge.shape)
            picture = np.clip(shown, 0, 255).astype(np.uint8)
            writer.write_bgr(np.repeat(picture[:, :, None], 3, axis=2))
    return inspect(path)


def followed(facts: ClipFacts) -> int:
    """The frames in which throws of a first pass lie on the ball."""
    camera = looking_at((10.0, -60.0, 1.6), (10.0, 0.0, 4.0), 430.0, SIZE)
    found = scout(facts, camera, fall_per_diameter=FALL)
    frames = set()
    for at in found.throws:
        arc = found.arcs[at]
        for frame, place in zip(arc.frames.tolist(), arc.pixels, strict=True):
            if np.linalg.norm(place - ball_at(frame)) < 2.5:
                frames.add(frame)
    return len(frames)


def test_a_ball_of_a_pixel_and_a_half_is_followed(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert followed(facts) > 0.7 * FRAMES
    monkeypatch.setattr(scouted_sizes, "SMALL_MOST_PIXELS", 0)
    assert followed(facts) < 0.3 * FRAMES


def path(count: int, aside_px: float = 0.0) -> Arc:
    times = np.arange(count) * FRAME_S
    places = np.column_stack(
        [100.0 + 300.0 * times + aside_px, 300.0 - 200 * times + 150 * times**2]
    )
    return fit_arc(np.column_stack([np.arange(count), times, places]), FRAME_S)


def test_a_path_that_is_as_long_is_not_replaced(facts: ClipFacts) -> None:
    small = _Small(facts, FRAME_S)
    small._found.append(path(30))
    small._width = WIDTH
    assert small.throws([path(27)]) == []
    assert [len(each.frames) for each in small.throws([path(26)])] == [30]
    assert [len(each.frames) for each in small.throws([path(40, aside_px=0.1 * WIDTH)])] == [30]


def test_two_balls_side_by_side_are_two() -> None:
    assert same_ball(path(30), path(30, 0.9 * ONE_BALL_SHARE * WIDTH), WIDTH, ONE_BALL_SHARE)
    assert not same_ball(path(30), path(30, 1.1 * ONE_BALL_SHARE * WIDTH), WIDTH, ONE_BALL_SHARE)
