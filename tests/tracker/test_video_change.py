"""The change from frame to frame, gathered while frames pass, and what it shows of the times."""

import functools
from itertools import product

import numpy as np
import pytest

from calibration.timebase import Cadence, check_cadence
from tests.tracker.barcode_clips import FOOTAGE
from tracker.video import ChangeMeter, ClipWriter, Frame, change, frames, inspect
from tracker.video.change import BANDS, COLUMNS

WIDTH, HEIGHT = 320, 180


TEXTURE = np.convolve(np.random.default_rng(11).normal(0, 90, WIDTH * 4), np.ones(9) / 9, "same")
"""A line of light and dark, repeated."""


@functools.cache
def scene(moment):
    """Return a grainy picture in which textured strips move to the right at several speeds."""
    luma = np.random.default_rng(1000 + moment).normal(110, 2.0, (HEIGHT, WIDTH))
    for row in range(6):
        moved = moment * (1.5 + 0.7 * row) + 6.0 * np.sin(moment / (9.0 + row))
        places = (np.arange(WIDTH) + 200.0 * row + moved) % (len(TEXTURE) - 1)
        luma[30 * row : 30 * row + 20] += np.interp(places, np.arange(len(TEXTURE)), TEXTURE)
    return np.clip(luma, 16, 235).astype(np.uint8)


def measured(path, moments, fps, **style):
    with ClipWriter(path, (WIDTH, HEIGHT), fps, **style) as clip:
        for moment in moments:
            clip.write_luma_chroma(scene(int(moment)))
    facts = inspect(path)
    meter = ChangeMeter(facts)
    for frame in frames(facts):
        meter.see(frame)
    return facts, meter.changes()


CODINGS = {
    "usual": {},
    "coarse, frames out of order": {
        "crf": 36,
        "options": {"bf": "3", "b-adapt": "0", "b-pyramid": "normal"},
    },
    "key frame each half second": {"crf": 30, "options": {"g": "12", "bf": "0"}},
    "key frame each fifth": {"crf": 34, "options": {"g": "5", "bf": "0"}},
}


FEW = [("usual", 30), ("coarse, frames out of order", 24), ("key frame each fifth", 25)]


@pytest.mark.parametrize(
    ("coding", "fps"),
    [
        each if each in FEW else pytest.param(*each, marks=pytest.mark.campaign)
        for each in product(CODINGS, (24, 25, 30))
    ],
)
def test_a_clean_clip_is_left_alone(coding, fps, tmp_path):
    facts, changes = measured(tmp_path / "a.mp4", range(150), fps, **CODINGS[coding])
    found = check_cadence(changes, facts.file_times_s)
    assert (found.cadence, found.explanation) == (Cadence.TRUE, "")


def test_a_thinned_clip_is_mended(tmp_path):
    source = np.floor(1.25 * np.arange(200) + 0.3)
    facts, changes = measured(tmp_path / "a.mp4", source, 24)
    found = check_cadence(changes, facts.file_times_s)
    assert found.cadence is Cadence.MENDED
    assert found.times_s == pytest.approx(source / 30.0, abs=1e-6)


def test_a_clip_with_repeats_is_mended(tmp_path):
    source = np.floor(0.8 * np.arange(200) + 0.3)
    facts, changes = measured(tmp_path / "a.mp4", source, 30)
    found = check_cadence(changes, facts.file_times_s)
    assert found.cadence is Cadence.MENDED
    assert np.array_equal(found.repeats[1:], np.diff(source) == 0)
    assert found.times_s == pytest.approx(source / 24.0, abs=1e-6)


class FakeListing:
    keys = np.zeros(6, dtype=bool)


class FakeFacts:
    frame_count = 6
    listing = FakeListing


def fed(lumas, indices, suspect=()):
    meter = ChangeMeter(FakeFacts)
    for index in indices:
        picture = Frame(
            index=index,
            time_s=0.0,
            luma=lumas[index],
            blueness=None,
            suspect=index in suspect,
            shown=None,
        )
        meter.see(picture)
    return meter.changes()


def test_change_is_the_mean_difference():
    rng = np.random.default_rng(0)
    lumas = [rng.integers(0, 256, (90, 160), dtype=np.uint8) for _ in range(6)]
    changes = fed(lumas, range(6))
    assert np.isnan(changes.whole[0])
    for index in range(1, 6):
        difference = np.abs(lumas[index].astype(int) - lumas[index - 1])
        assert changes.whole[index] == pytest.approx(difference.mean())
        assert changes.peaks[index] == difference.max()
        bare = np.where(difference > 10, difference, 0)
        expected = bare.reshape(BANDS, 10, COLUMNS, 10).mean(axis=(1, 3)).ravel()
        assert changes.regions_at(np.array([index]))[0] == pytest.approx(expected, rel=5e-4)


def test_of_a_long_film_every_so_many_runs_are_kept(monkeypatch):
    rng = np.random.default_rng(1)
    lumas = [rng.integers(0, 256, (90, 160), dtype=np.uint8) for _ in range(6)]
    whole = fed(lumas, range(6))
    monkeypatch.setattr(change, "MOST_KEPT", 3)
    monkeypatch.setattr(change, "RUN", 2)
    # Every second run of two: frames 0, 1, 4 and 5.
    part = fed(lumas, range(6))
    assert part.regions.shape == (4, BANDS * COLUMNS) and whole.regions.shape[0] == 6
    every = np.arange(6)
    wanted = whole.regions_at(every)
    wanted[2:4] = np.nan
    np.testing.assert_array_equal(part.regions_at(every), wanted)
    assert np.isfinite(wanted[[1, 4, 5]]).all()
    for name in ("whole", "peaks"):
        np.testing.assert_array_equal(getattr(part, name), getattr(whole, name))


def test_change_across_a_loss_is_unknown():
    lumas = [np.full((90, 160), 40 * i, np.uint8) for i in range(6)]
    changes = fed(lumas, [0, 1, 3, 4, 5], suspect=[5])
    assert np.flatnonzero(np.isfinite(changes.whole)).tolist() == [1, 4]


@pytest.mark.skipif(not FOOTAGE.is_dir(), reason="footage is not here")
@pytest.mark.parametrize("name", sorted(p.name for p in FOOTAGE.glob("V_*.mp4")))
def test_footage_that_is_clean_is_left_alone(name):
    facts = inspect(FOOTAGE / name)
    meter = ChangeMeter(facts)
    for frame in frames(facts):
        meter.see(frame)
    found = check_cadence(meter.changes(), facts.file_times_s)
    assert found.cadence is Cadence.TRUE
    assert np.array_equal(found.times_s, facts.file_times_s)


@pytest.mark.skipif(not FOOTAGE.is_dir(), reason="footage is not here")
def test_footage_that_was_thinned_is_mended():
    facts = inspect(FOOTAGE / "football_juggle_24fps_thinned.mp4")
    meter = ChangeMeter(facts)
    for frame in frames(facts):
        meter.see(frame)
    found = check_cadence(meter.changes(), facts.file_times_s)
    assert found.cadence is Cadence.MENDED
    assert "29.97 a second" in found.explanation
    # One frame in five is missing.
    assert found.left_out.sum() == pytest.approx(len(found.times_s) / 4, abs=2)
