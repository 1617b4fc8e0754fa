"""What counts as change between three frames, and how much of it is let through."""

import numpy as np
import pytest

from tests.tracker.drawn_balls import disc, film
from tracker.detection import CandidateFinder, SearchSettings
from tracker.detection.alarm import Alarm
from tracker.detection.component import WANTED
from tracker.detection.difference import Difference
from tracker.detection.noise import NoiseMap

SHAPE = (120, 160)


def textured(seed=5):
    return np.random.default_rng(seed).integers(20, 236, SHAPE).astype(np.uint8)


def ball_at(column, row, contrast):
    return np.clip(110 + contrast * disc(SHAPE, (column, row), 4.0), 0, 255).astype(np.uint8)


def test_still_picture_gives_no_change():
    still = textured()
    assert not Difference(SHAPE).change(still, still, still).any()


@pytest.mark.parametrize("step", [1, -1, 40, -40])
def test_light_that_goes_on_or_off_for_good_gives_no_change(step):
    still = np.clip(textured(), 45, 210)
    lit = (still.astype(int) + step).astype(np.uint8)
    watch = Difference(SHAPE)
    assert not watch.change(still, lit, lit).any()
    assert not watch.change(still, still, lit).any()


def test_slow_change_of_light_gives_no_change():
    still = np.clip(textured(), 45, 210).astype(int)
    dawn = [(still + step).astype(np.uint8) for step in (0, 3, 6)]
    assert not Difference(SHAPE).change(*dawn).any()


@pytest.mark.parametrize("contrast", [60, -60])
def test_ball_that_moves_shows_where_it_is_now_and_nowhere_else(contrast):
    frames = [ball_at(60 + 15 * step, 50, contrast) for step in range(3)]
    change = Difference(SHAPE).change(*frames)
    row, column = np.unravel_index(int(np.argmax(change)), SHAPE)
    assert abs(column - 75) <= 1 and abs(row - 50) <= 1
    away = np.ones(SHAPE, bool)
    away[42:59, 67:84] = False
    assert not change[away].any()


@pytest.mark.parametrize("contrast", [60, -60])
def test_change_is_summed_over_four_pixels_named_by_the_upper_left(contrast):
    flat = np.full(SHAPE, 110, np.uint8)
    now = flat.copy()
    now[50, 70:73] = 110 + contrast
    rows, columns, sums = Difference(SHAPE).over(flat, now, flat, np.zeros(SHAPE, np.uint8))
    found = dict(zip(zip(rows.tolist(), columns.tolist(), strict=True), sums, strict=True))
    assert found == {
        (row, column): share * abs(contrast)
        for row in (49, 50)
        for column, share in ((69, 1), (70, 2), (71, 2), (72, 1))
    }


@pytest.mark.parametrize("shape", [(2, 2), (5, 9), (64, 64), (83, 131), (400, 1001)])
@pytest.mark.parametrize("noise", [0.5, 3.0, 60.0])
def test_quick_look_finds_the_very_pixels_of_the_whole_sum(shape, noise):
    rng = np.random.default_rng(int(noise) + shape[0])
    frames = [np.clip(rng.normal(120, noise, shape), 0, 255).astype(np.uint8) for _ in range(3)]
    frames[1][:2, :3] = frames[1][-1, -2:] = 255
    watch = Difference(shape)
    each = watch.change(*frames).astype(int)
    whole = each[:-1, :-1] + each[1:, :-1] + each[:-1, 1:] + each[1:, 1:]
    limit = np.full(shape, min(254, int(np.percentile(whole, 99.5))), np.uint8)
    limit[:, ::2] = min(254, int(limit[0, 0]) + 3)
    rows, columns = np.nonzero(whole > limit[:-1, :-1])
    found = watch.over(*frames, limit)
    assert len(rows) or shape == (2, 2)
    for got, wanted in zip(found, (rows, columns, whole[rows, columns]), strict=True):
        np.testing.assert_array_equal(got, wanted)


def found_per_frame(noise, count=170, most=24, shape=(480, 640), seed=3):
    """Return candidates per frame on noise of this level, given for each pixel or for all."""
    rng = np.random.default_rng(seed)
    finder = CandidateFinder(SearchSettings(4.0, 8.0, 1, (0, 0, shape[1], shape[0]), most))
    found = []
    for index in range(count):
        got = finder.push(index, index / 30.0, film(np.full(shape, 110.0), rng, noise))
        if got is not None:
            found.append(got)
    return found


@pytest.mark.parametrize("noise", [2.0, pytest.param(8.0, marks=pytest.mark.campaign)])
def test_false_candidates_settle_near_the_number_wanted(noise):
    # The finder aims at a share of the most that it keeps.
    counts = [len(each.pixels) for each in found_per_frame(noise, most=60)[-60:]]
    assert np.mean(counts) == pytest.approx(WANTED * 60, rel=0.35)


def test_noisy_part_does_not_crowd_out_the_quiet_one():
    noise = np.full((480, 640), 3.0)
    noise[:, 320:] = 12.0
    found = found_per_frame(noise)[-60:]
    noisy = np.mean([np.sum(each.pixels[:, 0] > 336) for each in found])
    quiet = np.mean([np.sum(each.pixels[:, 0] < 304) for each in found])
    assert 0.5 < noisy / quiet < 2.0


def threshold_at(watch, row=52, column=72):
    return float(watch.thresholds_at(np.array([row]), np.array([column]))[0])


def test_one_ball_does_not_lift_its_own_threshold():
    rng = np.random.default_rng(2)
    watch = NoiseMap(SHAPE, wanted=20.0)
    for _ in range(40):
        watch.take(rng.integers(0, 8, SHAPE).astype(np.uint8))
        watch.learn(20)
    usual = threshold_at(watch)
    shown = rng.integers(0, 8, SHAPE).astype(np.uint8)
    shown[50:54, 70:74] = 250
    watch.take(shown)
    assert threshold_at(watch) < 2.0 * usual
    assert threshold_at(watch) < 4 * 250


def test_more_candidates_than_wanted_raise_the_threshold_and_fewer_lower_it():
    change = np.full(SHAPE, 6, np.uint8)
    at = {}
    for found in (0, 20, 400):
        watch = NoiseMap(SHAPE, wanted=20.0)
        for _ in range(60):
            watch.take(change)
            at[found] = threshold_at(watch)
            watch.learn(found)
    assert at[0] < at[20] < at[400]


@pytest.mark.parametrize("shape", [(120, 160), (37, 51), (16, 90), (9, 9)])
def test_limit_is_the_threshold_in_whole_numbers(shape):
    rng = np.random.default_rng(4)
    watch = NoiseMap(shape, wanted=20.0)
    watch.take((rng.integers(0, 8, shape) * np.linspace(0.2, 4.0, shape[1])).astype(np.uint8))
    rows, columns = (each.ravel() for each in np.indices(shape))
    exact = watch.thresholds_at(rows, columns)
    assert np.all(np.abs(watch.limit.ravel() + 0.5 - np.minimum(exact, 254.5)) < 2.0)


@pytest.mark.parametrize("lag", [1, 3])
@pytest.mark.parametrize("shape", [(2, 2), (5, 9), (64, 64), (83, 131)])
def test_alarm_leaves_out_no_square_over_its_limit(shape, lag):
    rng = np.random.default_rng(shape[0] + lag)
    frames = [np.clip(rng.normal(120, 2, shape), 0, 255).astype(np.uint8) for _ in range(4 * lag)]
    for number, frame in enumerate(frames[lag:]):
        frame[:2, number % shape[1]] = frame[-1, -1] = 250
    limit = rng.integers(16, 30, shape).astype(np.uint8)
    limit[0] = 254
    whole, alarm = Difference(shape), Alarm(shape, lag)
    alarm.follow(limit)
    seen = 0
    for at in range(lag, len(frames)):
        alarm.push(frames[at], frames[at - lag])
        if at < 2 * lag:
            continue
        three = frames[at - 2 * lag], frames[at - lag], frames[at]
        squares = alarm.squares()
        assert squares is not None
        found = Difference.over_at(three, limit, *squares)
        expected = whole.over(*three, limit)
        # A sum that saturates at 255 is over 254, and no other limit is that high.
        assert all(np.array_equal(*each) for each in zip(found, expected, strict=True))
        seen += len(found[0])
    assert seen


def test_alarm_gives_up_where_most_of_a_frame_changes_until_the_limits_do():
    shape = (64, 64)
    dark, lit = np.zeros(shape, np.uint8), np.full(shape, 200, np.uint8)
    alarm = Alarm(shape, 1)
    alarm.follow(np.full(shape, 40, np.uint8))
    alarm.push(lit, dark)
    alarm.push(dark, lit)
    assert alarm.squares() is None
    alarm.push(dark, dark)
    assert alarm.squares() is None
    alarm.follow(np.full(shape, 40, np.uint8))
    assert len(alarm.squares()[0]) == 0
