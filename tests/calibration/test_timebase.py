"""Times of rows in a frame, and of frames that the file's clock misstates."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.timebase import (
    Cadence,
    Changes,
    cadence,
    check_cadence,
    find_repeats,
    row_fraction,
    true_times_s,
)
from calibration.timebase import changes as changes_module
from calibration.timebase import motion as motion_module
from calibration.timebase.beats import find_beats, holds_throughout
from calibration.timebase.motion import motion_of

# ------------------------------------------------------------------ rows


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
@pytest.mark.parametrize("stored", [(6, 4), (5, 9)])
def test_rows_are_those_of_the_stored_picture(rotation, stored):
    width, height = stored
    rows = np.repeat(np.arange(height)[:, None], width, axis=1)
    shown = np.rot90(rows, rotation // 90)
    columns, lines = np.meshgrid(np.arange(shown.shape[1]), np.arange(shown.shape[0]))
    pixels = np.column_stack([columns.ravel(), lines.ravel()])
    found = row_fraction(pixels, shown.shape[1::-1], rotation)
    assert found == pytest.approx(shown.ravel() / (height - 1) - 0.5)


@pytest.mark.parametrize(
    ("fps", "rows", "readout_s", "step_px", "expected_ms"),
    [
        # Derived in "Measured with a rolling shutter": dt = 1/fps + dy T_r / H.
        (60.0, 1080, 0.020, 54.0, 17.666667),
        (30.0, 720, 0.030, 100.0, 37.5),
        (240.0, 720, 0.004, -20.0, 4.055556),
    ],
)
def test_time_between_two_sightings(fps, rows, readout_s, step_px, expected_ms):
    size = (1920, rows)
    early, late = readout_s * row_fraction([[0, 300.0], [0, 300.0 + step_px]], size, 0)
    # The published form divides by the number of rows, ours by the steps between them.
    step_s = 1.0 / fps + (late - early) * (rows - 1) / rows
    assert step_s * 1000.0 == pytest.approx(expected_ms, abs=1e-6)


@given(
    st.floats(0, 1079),
    st.floats(0, 1919),
    st.sampled_from([0, 90, 180, 270]),
    st.floats(-0.06, 0.06),
)
def test_rows_stay_within_half_a_readout(row, column, rotation, readout_s):
    size = (1920, 1080)
    offset = readout_s * row_fraction([[column, row]], size, rotation)
    assert abs(offset[0]) <= abs(readout_s) / 2 + 1e-12
    turned = readout_s * row_fraction([[1919 - column, 1079 - row]], size, (rotation + 180) % 360)
    assert turned == pytest.approx(offset, abs=1e-12)


def test_pace():
    assert true_times_s([0.5, 0.5 + 1 / 30, 0.5 + 2 / 30], 8.0) == pytest.approx(
        [0, 1 / 240, 1 / 120]
    )


# ------------------------------------------------------------------ frames


def filmed(source, noise=0.08, seed=0, regions=24, keys_every=30, grain=1.0):
    """Return changes between frames of a scene in which things move with varying speed.

    `source` numbers the moment that each frame shows. Each region's change grows with the
    distance moved and levels off where the things in it have left their old place.
    """
    source = np.asarray(source, float)
    rng = np.random.default_rng(seed)
    count = len(source)
    beat = rng.uniform(0.02, 0.2, regions)
    start = rng.uniform(0, 6, regions)
    moved = np.cumsum(1.2 + np.sin(np.arange(6 * count)[:, None] * beat + start), axis=0)
    place = moved[np.clip(source, 0, len(moved) - 1).astype(int)]

    def change(lag):
        distance = np.full((count, regions), np.nan)
        distance[lag:] = np.abs(place[lag:] - place[:-lag])
        full = 4.0 * (1.0 - np.exp(-distance / 4.0))
        return full * np.exp(noise * rng.normal(size=full.shape))

    single = change(1)
    again = np.zeros(count, dtype=bool)
    again[1:] = np.diff(source) == 0
    single[again] = 0.01
    new = np.flatnonzero(~again)
    at = new[2::3]
    distance = np.abs(place[at] - place[new[:-2:3][: len(at)]])
    over_two = 4.0 * (1.0 - np.exp(-distance / 4.0))
    whole = grain + np.nan_to_num(single).mean(axis=1)
    whole[again] = 0.01
    peaks = np.where(again, 2.0, 80.0)
    whole[0] = peaks[0] = np.nan
    alone = np.arange(count) % keys_every == 0
    return Changes(whole, peaks, single.astype(np.float32), over_two.astype(np.float32), at, alone)


def even(count, fps):
    return np.arange(count) / fps


@pytest.mark.parametrize(
    "seed", [0, 1, *(pytest.param(each, marks=pytest.mark.long) for each in range(2, 12))]
)
@pytest.mark.parametrize("fps", [23.976, 24.0, 25.0, 30.0, 50.0, 60.0, 240.0])
def test_a_clean_clip_is_left_alone(seed, fps):
    times = even(300, fps)
    found = check_cadence(filmed(np.arange(300), seed=seed, noise=0.3), times)
    assert found.cadence is Cadence.TRUE
    assert found.times_s is times or np.array_equal(found.times_s, times)
    assert found.explanation == ""
    assert not found.repeats.any()
    assert not found.left_out.any()


@pytest.mark.parametrize(
    ("file_fps", "source_fps"),
    [(24.0, 30.0), (24.0, 30000 / 1001), (25.0, 30.0), (50.0, 60.0), (48.0, 60.0)],
)
@pytest.mark.parametrize("phase", [0.13, 0.57])
def test_frames_left_out_at_a_beat_are_found_and_times_mended(file_fps, source_fps, phase):
    ratio = source_fps / file_fps
    source = np.floor(ratio * np.arange(300) + phase)
    found = check_cadence(filmed(source), even(300, file_fps))
    assert found.cadence is Cadence.MENDED
    truth = (source - source[0]) / source_fps
    # One step in doubt at the moment where a beat slips is no fault.
    assert np.mean(np.abs(found.times_s - truth) < 0.002) > 0.98
    assert np.abs(found.times_s - truth).max() < 1.1 / source_fps
    assert np.mean(found.left_out[1:] == np.diff(source) - 1) > 0.97
    assert f"{source_fps:.4g} a second" in found.explanation


def test_a_long_film_is_mended_by_the_runs_of_which_more_is_known():
    count, run = 2400, 300
    source = np.floor(1.25 * np.arange(count) + 0.3)
    changes = filmed(source)
    known = np.arange(count) // run % 3 == 0
    rows = np.where(known, np.cumsum(known) - 1, -1).astype(np.int32)
    near = known[changes.over_two_at]
    part = replace(
        changes,
        regions=changes.regions[known],
        rows=rows,
        over_two=changes.over_two[near],
        over_two_at=changes.over_two_at[near],
    )
    whole, found = (check_cadence(each, even(count, 24.0)) for each in (changes, part))
    assert found.cadence is whole.cadence is Cadence.MENDED
    np.testing.assert_array_equal(found.times_s, whole.times_s)


@pytest.mark.parametrize(("file_fps", "source_fps"), [(30.0, 24.0), (60.0, 50.0), (60.0, 24.0)])
def test_repeats_at_a_beat_are_found_and_times_mended(file_fps, source_fps):
    source = np.floor(source_fps / file_fps * np.arange(400) + 0.3)
    found = check_cadence(filmed(source), even(400, file_fps))
    assert found.cadence is Cadence.MENDED
    assert np.array_equal(found.repeats[1:], np.diff(source) == 0)
    assert found.times_s == pytest.approx(source / source_fps, abs=1e-9)


def test_repeats_that_fill_gaps_leave_the_times_alone():
    source = np.arange(300)
    source[4::5] -= 1
    found = check_cadence(filmed(source), even(300, 30.0))
    assert found.cadence is Cadence.TRUE
    assert found.repeats.sum() == 60
    assert "the file's times stand" in found.explanation


def test_frames_shown_twice_throughout_keep_their_times():
    source = np.arange(300) // 2
    found = check_cadence(filmed(source), even(300, 60.0))
    assert found.cadence is Cadence.TRUE
    assert np.array_equal(found.repeats[1:], np.diff(source) == 0)
    assert np.array_equal(found.times_s, even(300, 60.0))


def test_repeats_at_no_beat_cannot_be_mended():
    rng = np.random.default_rng(3)
    source = np.cumsum(rng.random(400) > 0.2)
    found = check_cadence(filmed(source), even(400, 30.0))
    assert found.cadence is Cadence.DOUBTFUL
    assert "cannot be corrected" in found.explanation
    assert np.array_equal(found.times_s, even(400, 30.0))


def test_a_beat_of_no_usual_rates_cannot_be_mended():
    source = np.floor(7 / 6 * np.arange(400) + 0.2)
    found = check_cadence(filmed(source, noise=0.02), even(400, 30.0))
    assert found.cadence is Cadence.DOUBTFUL
    assert np.array_equal(found.times_s, even(400, 30.0))


def test_times_that_tell_the_gaps_themselves_are_believed():
    source = np.floor(1.25 * np.arange(300) + 0.1)
    found = check_cadence(filmed(source), source / 30.0)
    assert found.cadence is Cadence.TRUE
    assert np.array_equal(found.times_s, source / 30.0)


def test_a_single_repeat_is_reported_and_no_more():
    source = np.arange(200)
    source[100:] -= 1
    found = check_cadence(filmed(source), even(200, 30.0))
    assert found.cadence is Cadence.TRUE
    assert np.flatnonzero(found.repeats).tolist() == [100]
    assert "1 frame shows" in found.explanation


def _shaken(changes, shake, seed):
    """Return changes to which a hand adds its own in each frame, all over the picture."""
    factor = np.exp(shake * np.random.default_rng(seed).normal(size=(len(changes.whole), 1)))
    return replace(
        changes,
        regions=(changes.regions * factor).astype(np.float32),
        over_two=(changes.over_two * factor[changes.over_two_at]).astype(np.float32),
    )


@pytest.mark.parametrize(
    ("shake", "verdict", "strength"), [(0.3, Cadence.MENDED, (10, 20)), (0.7, Cadence.TRUE, (5, 8))]
)
@pytest.mark.parametrize("seeds", [4, pytest.param(12, marks=pytest.mark.long)])
def test_times_are_corrected_only_where_a_beat_is_beyond_doubt(shake, verdict, strength, seeds):
    # One wrong correction spoils every speed of a clip, so that a beat at 5 to 8 times its
    # uncertainty, with hundreds of phases and ratios tried, must not suffice.
    source, times = np.floor(1.25 * np.arange(300) + 0.13), even(300, 24.0)
    judged = []
    for seed in range(seeds):
        changes = _shaken(filmed(source, noise=0.1, seed=seed), shake, 100 + seed)
        motion = motion_of(changes, np.arange(300))
        best = min(find_beats(motion, 24.0), key=lambda beat: beat.fit.log_rest)
        plain = best.usual and 0.4 <= best.fit.gain <= 2.0 and holds_throughout(motion, best)
        if plain and strength[0] < best.fit.t < strength[1]:
            judged.append(check_cadence(changes, times))
    assert len(judged) >= seeds / 2
    assert {found.cadence for found in judged} == {verdict}
    kept = [np.array_equal(found.times_s, times) for found in judged]
    assert all(kept) == (verdict is Cadence.TRUE)


def _vibrating(count, fps, hertz, seed):
    """Return changes as a camera shows them that vibrates on its stand, in gusts and a breeze."""
    rng = np.random.default_rng(seed)
    time = np.arange(count) / fps
    place = np.sin(2 * np.pi * hertz * time + rng.uniform(0, 6)) * (1.2 + np.sin(0.5 * time))
    contrast = rng.uniform(1.0, 8.0, 24)

    def change(lag):
        moved = np.full((count, 24), np.nan)
        moved[lag:] = np.abs(place[lag:] - place[:-lag])[:, None] * contrast + 4.0 * lag
        return moved * np.exp(0.2 * rng.normal(size=moved.shape))

    still = filmed(np.arange(count), seed=seed)
    over_two = change(2)[still.over_two_at]
    regions = change(1).astype(np.float32)
    return replace(still, regions=regions, over_two=over_two.astype(np.float32))


@pytest.mark.parametrize("hertz", [5.95, 6.0, 9.0])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_camera_that_vibrates_leaves_no_frames_out(hertz, seed):
    # Its steps are largest twice a period, 12 times or 18 a second: 48 - 30 is a beat of both.
    changes = _vibrating(240, 30.0, hertz, seed)
    beats = find_beats(motion_of(changes, np.arange(240)), 30.0)
    assert max(beat.fit.t for beat in beats) > 8.0
    found = check_cadence(changes, even(240, 30.0))
    assert found.cadence is Cadence.TRUE
    assert not found.left_out.any()


def test_half_a_clip_is_not_enough():
    source = np.arange(400.0)
    thinned = np.floor(1.25 * np.arange(200)) + 200
    found = check_cadence(filmed(np.concatenate([source[:200], thinned])), even(400, 24.0))
    assert found.cadence is Cadence.TRUE


def test_a_beat_of_key_frames_is_no_beat_of_motion():
    changes = filmed(np.arange(300), keys_every=12)
    parts = changes.regions.copy()
    # Every twelfth step shows its coding: a third of what the beat of 30 to 24 would show.
    parts[changes.alone] *= 3.0
    tainted = replace(changes, regions=parts)
    assert check_cadence(tainted, even(300, 24.0)).cadence is Cadence.TRUE


def test_grain_is_no_motion():
    rng = np.random.default_rng(8)
    parts = rng.uniform(1.0, 2.0, (300, 24))
    parts[::4] *= 2.0
    over_two = np.full((100, 24), 1.5)
    changes = Changes(
        parts.mean(axis=1),
        np.full(300, 40.0),
        parts.astype(np.float32),
        over_two.astype(np.float32),
        np.arange(0, 300, 3),
        np.zeros(300, dtype=bool),
    )
    assert check_cadence(changes, even(300, 24.0)).cadence is Cadence.TRUE


def test_lost_frames_do_not_hinder():
    source = np.floor(1.25 * np.arange(400) + 0.1)
    changes = filmed(source)
    for array in (changes.whole, changes.peaks, changes.regions):
        array[150:160] = np.nan
    found = check_cadence(changes, even(400, 24.0))
    assert found.cadence is Cadence.MENDED
    assert np.abs(found.times_s - source / 30.0).max() < 0.002


@pytest.mark.parametrize("count", [2, 3, 20])
def test_short_clips_are_left_alone(count):
    found = check_cadence(filmed(np.arange(count)), even(count, 24.0))
    assert found.cadence is Cadence.TRUE
    assert len(found.repeats) == count


def test_nothing_known_is_nothing_said():
    nothing = np.full(100, np.nan)
    changes = Changes(
        nothing,
        nothing,
        np.full((100, 4), np.nan, np.float32),
        np.zeros((0, 4), np.float32),
        np.zeros(0, np.int64),
        np.zeros(100, dtype=bool),
    )
    found = check_cadence(changes, even(100, 24.0))
    assert (found.cadence, found.explanation) == (Cadence.TRUE, "")


def test_a_quiet_scene_holds_no_repeats():
    rng = np.random.default_rng(1)
    assert not find_repeats(rng.uniform(0, 0.01, 200), rng.uniform(0, 6, 200)).any()
    assert not find_repeats(np.zeros(200), np.zeros(200)).any()


@pytest.mark.parametrize(("count", "judged"), [(7, False), (9, False), (10, True)])
def test_a_beat_is_looked_for_in_ten_repeats_or_more(count, judged):
    source = np.arange(200)
    for at in np.sort(np.random.default_rng(4).choice(np.arange(5, 195), count, replace=False)):
        source[at:] -= 1
    found = check_cadence(filmed(source), even(200, 30.0))
    assert found.cadence is (Cadence.DOUBTFUL if judged else Cadence.TRUE)
    assert found.repeats.sum() == count


@pytest.mark.parametrize(
    ("gain", "verdict"), [(0.7, Cadence.TRUE), (0.45, Cadence.TRUE), (0.3, Cadence.DOUBTFUL)]
)
def test_repeats_at_no_beat_are_doubtful_where_motion_surely_goes_on_evenly(
    monkeypatch, gain, verdict
):
    """Known to 0.05: a gain of 0.45 may be one half, and then nothing is said."""
    monkeypatch.setattr(cadence, "motion_of", lambda *_: None)
    monkeypatch.setattr(cadence, "fit_gaps", lambda *_: motion_module.Fit(gain, gain / 0.05, 0.0))
    repeats = np.isin(np.arange(90), [4, 9, 11, 26, 29, 47, 52, 55, 71, 83])
    base = cadence.TimeBase(np.arange(90) / 30.0, Cadence.TRUE, repeats, np.zeros(90, int), "")
    assert cadence._judge_repeats(base, None).cadence is verdict


@pytest.mark.parametrize(("gap", "verdict"), [(8.0, Cadence.DOUBTFUL), (12.0, Cadence.MENDED)])
def test_a_beat_is_certain_where_the_next_best_is_far_less_likely(monkeypatch, gap, verdict):
    source = np.floor(1.25 * np.arange(300) + 0.3)
    changes = filmed(source)
    best = min(find_beats(motion_of(changes, np.arange(300)), 24.0), key=lambda b: b.fit.log_rest)
    # The difference of log-likelihood is the number of frames times that of the log residuals.
    rest = replace(best.fit, log_rest=best.fit.log_rest + gap / 300)
    rival = replace(best, ratio=1.1 * best.ratio, fit=rest)
    monkeypatch.setattr(cadence, "find_beats", lambda *_: [rival, best])
    assert check_cadence(changes, even(300, 24.0)).cadence is verdict


def test_memory_of_the_check_hardly_grows_with_a_clip():
    """Of a quarter of an hour; doubles of every region would take 62 MB, several times over."""
    count, regions = 54_000, 144
    rng = np.random.default_rng(3)
    parts = np.full((count, regions), 3.0, np.float16)
    parts += rng.uniform(0.0, 1.0, (count, 1)).astype(np.float16)
    at = np.arange(7, count, 7)
    changes = Changes(
        parts[:, 0].astype(float),
        np.full(count, 40.0),
        parts,
        np.full((len(at), regions), 5.0, np.float32),
        at,
        np.arange(count) % 30 == 0,
    )
    times = even(count, 60.0)
    tracemalloc.start()
    try:
        assert check_cadence(changes, times).cadence is Cadence.TRUE
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 40e6


def test_blocks_join_without_a_seam(monkeypatch):
    changes = filmed(np.floor(1.25 * np.arange(300) + 0.13))
    whole = motion_of(changes, np.arange(300))
    repeats = find_repeats(changes.whole, changes.peaks)
    for size in (7, 100):
        monkeypatch.setattr(motion_module, "BLOCK", size)
        monkeypatch.setattr(changes_module, "BLOCK", size)
        part = motion_of(changes, np.arange(300))
        assert np.array_equal(part.excess, whole.excess)
        assert np.array_equal(part.weight, whole.weight)
        assert part.growth == pytest.approx(whole.growth, rel=1e-12)
        assert np.array_equal(find_repeats(changes.whole, changes.peaks), repeats)
