"""What counts as change between three frames, and how much of it is let through."""

import numpy as np
import pytest

from tests.tracker.drawn_balls import disc, film
from tracker.detection import CandidateFinder, SearchSettings, component
from tracker.detection.alarm import MOST_WORDS, WORD, Alarm, Frames
from tracker.detection.component import MOST_PIXELS, WANTED
from tracker.detection.difference import Difference, change_at
from tracker.detection.noise import EVERY, FIRST_FRAMES, NoiseMap
from tracker.detection.peaks import peaks

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
        found += finder.push(index, index / 30.0, film(np.full(shape, 110.0), rng, noise))
    return found + finder.finish()


@pytest.mark.parametrize("noise", [2.0, pytest.param(8.0, marks=pytest.mark.campaign)])
def test_false_candidates_settle_near_the_number_wanted(noise):
    # The finder aims at a share of the most that it keeps.
    counts = [len(each.pixels) for each in found_per_frame(noise, most=60)[-60:]]
    assert np.mean(counts) == pytest.approx(WANTED * 60, rel=0.35)


@pytest.mark.campaign
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


def given_to(shape, lag, pictures, count=None):
    """Return frames into which pictures were put, of which `count` are kept."""
    frames = Frames(shape, lag, len(pictures) if count is None else count)
    for picture in pictures:
        frames.next()[:] = picture
        frames.pushed()
    return frames


def over_by_names(frames, number, limit, names):
    """Return rows, columns and sums of those of some squares that are over their limit."""
    size, wide = frames.pixels[0].size, frames.wide
    corners = names + np.array([[0], [1], [wide], [wide + 1]])
    three = (size * ((number + step * frames.lag) % frames.count) + corners for step in (-1, 0, 1))
    sums = change_at(frames.pixels.reshape(-1), *three).sum(axis=0)
    rows, columns = np.divmod(names, wide)
    over = sums > limit[rows, columns]
    return rows[over], columns[over], sums[over]


@pytest.mark.parametrize("lag", [1, 3])
@pytest.mark.parametrize("shape", [(2, 2), (5, 9), (64, 64), (83, 131), (300, 701)])
def test_alarm_leaves_out_no_square_over_its_limit(shape, lag):
    rng = np.random.default_rng(shape[0] + lag)
    pictures = [np.clip(rng.normal(120, 2, shape), 0, 255).astype(np.uint8) for _ in range(4 * lag)]
    for number, picture in enumerate(pictures[lag:]):
        picture[:2, number % shape[1]] = picture[-1, -1] = 250
    limit = rng.integers(16, 30, shape).astype(np.uint8)
    limit[0] = 254
    frames, whole = given_to(shape, lag, pictures), Difference(shape)
    alarm = Alarm(frames)
    alarm.follow(limit)
    seen = 0
    for number in range(lag, len(pictures) - lag):
        names = alarm.squares(number)
        assert names is not None and np.all(np.diff(names) > 0)
        found = over_by_names(frames, number, limit, names)
        three = pictures[number - lag], pictures[number], pictures[number + lag]
        expected = whole.over(*three, limit)
        # A sum that saturates at 255 is over 254, and no other limit is that high.
        assert all(np.array_equal(*each) for each in zip(found, expected, strict=True))
        # Few squares alarm in vain: only those of pixels that went up and down again do.
        assert len(names) < 5 * len(found[0]) + 0.01 * limit.size
        seen += len(found[0])
    assert seen


def test_frames_are_told_apart_when_their_places_are_used_again():
    shape, lag = (9, 21), 2
    rng = np.random.default_rng(7)
    pictures = [rng.integers(0, 255, shape).astype(np.uint8) for _ in range(17)]
    frames = given_to(shape, lag, pictures, 6)
    for number in range(11, 17):
        np.testing.assert_array_equal(frames.picture(number), pictures[number])
        apart = np.abs(pictures[number].astype(int) - pictures[number - lag])
        gaps = frames.gaps[number % 6]
        np.testing.assert_array_equal(gaps[:, :21], apart)
        assert not gaps[:, 21:].any() and frames.wide == 24


def test_alarm_gives_up_where_most_of_a_frame_changes():
    shape = (200, 8 * WORD)
    dark, lit = np.zeros(shape, np.uint8), np.full(shape, 200, np.uint8)
    some = dark.copy()
    some[: MOST_WORDS // 8 - 1] = 200
    alarm = Alarm(given_to(shape, 1, [dark, lit, dark, dark, dark, some, dark]))
    alarm.follow(np.full(shape, 40, np.uint8))
    assert alarm.squares(1) is None
    assert len(alarm.squares(3)) == 0
    assert len(alarm.squares(5)) == (MOST_WORDS // 8 - 1) * (8 * WORD - 1)


def rulers_by_definition(rows, columns, sums, most, reach):
    """The greatest of each block, the most greatest of these, those that no greater one is near."""
    best = {}
    for at in sorted(range(len(sums)), key=lambda at: (rows[at], columns[at])):
        block = rows[at] // (reach + 1), columns[at] // (reach + 1)
        if block not in best or sums[at] > sums[best[block]]:
            best[block] = at
    order = sorted((best[block] for block in sorted(best)), key=lambda at: -sums[at])[:most]
    kept = []
    for place, at in enumerate(order):
        if all(
            max(abs(rows[at] - rows[one]), abs(columns[at] - columns[one])) > reach
            for one in order[:place]
        ):
            kept.append((rows[at], columns[at], sums[at]))
    return kept


@pytest.mark.parametrize(("reach", "most"), [(3, 40), (5, 7)])
def test_peaks_of_several_frames_are_those_of_each(reach, most):
    rng = np.random.default_rng(reach)
    frames = np.sort(rng.choice([0, 2, 3, 5], 600))
    rows, columns = rng.integers(0, 61, 600), rng.integers(0, 83, 600)
    # A square stands once in a frame.
    _, once = np.unique((frames * 61 + rows) * 83 + columns, return_index=True)
    frames, rows, columns = frames[once], rows[once], columns[once]
    sums = rng.integers(30, 90, len(once))
    sums[::50] = 4 * 255
    found = peaks((frames, rows, columns, sums), most, reach)
    np.testing.assert_array_equal(peaks(found, most, reach), found)
    wanted = []
    for frame in (0, 2, 3, 5):
        own = frames == frame
        lists = (each[own].tolist() for each in (rows, columns, sums))
        wanted += [(frame, *each) for each in rulers_by_definition(*lists, most, reach)]
    assert list(zip(*(each.tolist() for each in found), strict=True)) == wanted
    assert len({frame for frame, *_ in wanted}) == 4


def test_thresholds_stand_until_the_run_is_over():
    watch = NoiseMap(SHAPE, wanted=20.0)
    for seen in range(3 * EVERY):
        until = next(later for later in range(seen + 1, 99) if later % EVERY == 0 or later < 4)
        assert FIRST_FRAMES == 4 and watch.run == until - seen
        watch.learn(20)


@pytest.mark.parametrize("settings", [(2.0, 1, False), (4.0, 2, False), (14.0, 1, True)])
def test_frames_that_are_looked_at_together_have_the_candidates_of_each_alone(
    settings, monkeypatch
):
    diameter, lag, centred = settings
    rng = np.random.default_rng(11)
    shape = (150, 210)
    pictures = []
    for index in range(31):
        luma = film(110.0 + 60.0 * disc(shape, (20.0 + 5.3 * index, 70.0), diameter), rng, 2.0)
        pictures.append((luma, film(np.full((75, 105), 120.0), rng, 1.5)))
    # A flash, in which every square changes.
    pictures[17] = (np.full(shape, 240, np.uint8), pictures[17][1])
    found = []
    for together in (MOST_PIXELS, 1):
        monkeypatch.setattr(component, "MOST_PIXELS", together)
        monkeypatch.setattr(component, "FEWEST", 1)
        finder = CandidateFinder(
            SearchSettings(diameter, 5.0, lag, (3, 5, 205, 148), 20, centred=centred)
        )
        given = [finder.push(at, at / 30.0, *both) for at, both in enumerate(pictures)]
        assert max(len(each) for each in given) == (8 if together > 1 else 1)
        found.append([one for each in [*given, finder.finish()] for one in each])
    assert [each.frame for each in found[0]] == list(range(lag, 31 - lag))
    for one, other in zip(*found, strict=True):
        assert (one.frame, one.time_s) == (other.frame, other.time_s)
        # The last digit of a product of matrices depends on their size.
        np.testing.assert_allclose(one.pixels, other.pixels, rtol=1e-13)
        np.testing.assert_array_equal(one.strength, other.strength)
        np.testing.assert_array_equal(one.luma.patches, other.luma.patches)
        np.testing.assert_array_equal(one.blueness.patches, other.blueness.patches)
        assert [each.weakest for each in one.backdrops] == [
            each.weakest for each in other.backdrops
        ]
        np.testing.assert_array_equal(one.backdrops[0].limit, other.backdrops[0].limit)


def test_one_moving_thing_hardly_lifts_the_level_of_its_block():
    watch = NoiseMap((16, 16), wanted=20.0)
    for change in (1, 60):
        watch.take(np.full((16, 16), change, np.uint8))
        watch.learn(0)
    # At most three times the level, and one, counts; the second frame of two has half the weight.
    assert watch.levels[1] == pytest.approx((4.0 + (3.0 * 4.0 + 1.0)) / 2.0)
