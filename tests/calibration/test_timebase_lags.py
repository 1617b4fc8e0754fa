"""A ball before a still background shows that frames were left out of a clip."""

import numpy as np
import pytest

from calibration.timebase import (
    Cadence,
    Changes,
    Lags,
    TimeBase,
    beat_of_lags,
    without_doubles,
)

NOISE_S = 2e-4
"""A fifth of a pixel at a thousand pixels a second."""


def even(count, fps):
    nothing = np.zeros(count, bool)
    return TimeBase(np.arange(count) / fps, Cadence.TRUE, nothing, nothing.astype(int), "")


def staircase(frames, source_fps, fps, phase):
    """True times of frames that a converter chose, each the latest that was there."""
    return np.floor(frames * source_fps / fps + phase) / source_fps


def lags(rng, frames, ahead_s, bend_s=2e-3):
    """Lags with noise, and with what a bent fit leaves of them."""
    frames = np.asarray(frames)
    smooth = bend_s * np.sin(np.linspace(0.0, 2.0, len(frames)))
    noise = NOISE_S * rng.normal(size=len(frames))
    return Lags(frames, ahead_s + smooth + noise, np.full(len(frames), NOISE_S**-2))


def thinned(source_fps, fps, phase=0.37, count=160, parts=((30, 78),), seed=1):
    rng = np.random.default_rng(seed)
    moving = []
    for begin, end in parts:
        frames = np.arange(begin, end)
        moving.append(lags(rng, frames, staircase(frames, source_fps, fps, phase) - frames / fps))
    return beat_of_lags(even(count, fps), moving)


@pytest.mark.parametrize(
    ("source_fps", "fps"),
    [(60.0, 24.0), (60.0, 25.0), (60.0, 50.0), (30.0, 24.0), (30.0, 25.0), (50.0, 30.0),
     (60.0 / 1.001, 24.0 / 1.001), (120.0, 50.0), (25.0, 24.0)],
)  # fmt: skip
def test_frames_left_out_are_found_by_a_ball_alone(source_fps, fps):
    """Frame k shows source frame floor(r k + c): Bresenham's staircase (1965)."""
    found = thinned(source_fps, fps)
    assert found.cadence is Cadence.MENDED
    frames = np.arange(30, 78)
    true = staircase(frames, source_fps, fps, 0.37)
    off = found.times_s[frames] - true
    np.testing.assert_allclose(off - off[0], 0.0, atol=2e-4)
    steps = np.diff(staircase(np.arange(29, 78), source_fps, fps, 0.37)) * source_fps
    np.testing.assert_array_equal(found.left_out[30:78], np.rint(steps)[: 78 - 30] - 1)
    assert f"{source_fps:.4g} a second" in found.explanation


def test_two_flights_of_a_clip_share_one_beat():
    found = thinned(60.0, 25.0, parts=((30, 40), (110, 120)))
    assert found.cadence is Cadence.MENDED
    assert thinned(60.0, 25.0, parts=((30, 40),)).cadence is Cadence.TRUE


@pytest.mark.parametrize("seed", range(6))
def test_even_times_stand(seed):
    rng = np.random.default_rng(seed)
    frames = np.arange(20, 68)
    calm = lags(rng, frames, 0.0)
    drifting = lags(rng, frames, 3e-4 * np.cumsum(rng.normal(size=48)))
    tone = lags(rng, frames, 4e-3 * np.sin(2.1 * frames))
    base = even(120, 25.0)
    for each in (calm, drifting, tone):
        assert beat_of_lags(base, [each]) is base


def test_a_sawtooth_of_another_size_is_no_beat():
    rng, frames = np.random.default_rng(3), np.arange(20, 68)
    saw = staircase(frames, 60.0, 25.0, 0.37) - frames / 25.0
    base = even(120, 25.0)
    for gain, cadence in ((0.65, Cadence.TRUE), (1.0, Cadence.MENDED), (1.35, Cadence.TRUE)):
        assert beat_of_lags(base, [lags(rng, frames, gain * saw)]).cadence is cadence
    assert beat_of_lags(base, [lags(rng, frames, -saw)]) is base
    noisy = saw + 0.9 * np.std(saw) * rng.normal(size=48)
    assert beat_of_lags(base, [lags(rng, frames, noisy)]) is base


def test_times_that_are_uneven_or_whole_steps_are_left_alone():
    frames = np.arange(30, 78)
    ahead = staircase(frames, 60.0, 25.0, 0.37) - frames / 25.0
    moving = [lags(np.random.default_rng(1), frames, ahead)]
    base = even(160, 25.0)
    jittery = TimeBase(
        base.times_s + 0.008 * (np.arange(160) % 3 == 0), base.cadence, base.repeats,
        base.left_out, "",
    )  # fmt: skip
    assert beat_of_lags(base, moving).cadence is Cadence.MENDED
    assert beat_of_lags(jittery, moving) is jittery
    assert beat_of_lags(base, []) is base
    assert thinned(60.0, 30.0).cadence is Cadence.TRUE


def coded(share, smaller=1.0, odd=1, count=120, rest=1.0, seed=2):
    """Changes of frames; every second changes by a share of the others, a part by `rest`."""
    rng = np.random.default_rng(seed)
    whole = 0.4 * np.exp(0.1 * rng.normal(size=count))
    second = np.arange(odd, count, 2)
    whole[second] *= np.where(rng.random(len(second)) < smaller, share, rest)
    whole[0] = np.nan
    nothing = np.zeros((0, 1), np.float32)
    return Changes(whole, 20.0 * whole, nothing, nothing, np.zeros(0, int), np.zeros(count, bool))


@pytest.mark.parametrize("odd", [0, 1])
def test_frames_that_a_converter_doubled_are_left_out(odd):
    base = even(120, 60.0)
    found = without_doubles(base, coded(0.45, odd=odd))
    assert found.cadence is Cadence.MENDED
    np.testing.assert_array_equal(found.repeats, np.arange(120) % 2 == odd)
    np.testing.assert_array_equal(found.times_s, base.times_s)
    assert "60 frames a second were made from 30" in found.explanation


@pytest.mark.parametrize(
    "changes", [coded(1.0), coded(0.75), coded(0.45, 0.55, seed=7), coded(0.45, count=46)]
)
def test_frames_that_change_much_alike_are_all_kept(changes):
    base = even(len(changes.whole), 60.0)
    assert without_doubles(base, changes) is base
    jittery = TimeBase(
        even(120, 60.0).times_s + 0.004 * (np.arange(120) % 3 == 0), base.cadence, base.repeats,
        base.left_out, "",
    )  # fmt: skip
    assert without_doubles(jittery, coded(0.45)) is jittery


@pytest.mark.parametrize(("smaller", "repeated"), [(0.65, False), (0.95, True)])
def test_where_many_second_frames_change_more_they_are_no_repeats(smaller, repeated):
    """The usual one of them changes little either way: a subject that jerks is no converter."""
    found = without_doubles(even(120, 60.0), coded(0.45, smaller, rest=1.6))
    assert (found.cadence is Cadence.MENDED) == repeated
