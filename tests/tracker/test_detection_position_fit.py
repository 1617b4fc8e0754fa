"""The place of a drawn ball: without bias, and with a covariance that can be believed."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.tracker.drawn_balls import disc, film, lit_balls, moving_balls
from tracker.detection import ExpectedBall, fit_positions
from tracker.detection.position_fit import LEAST_U_PX, SHAPE_SHARE
from tracker.records import Cutouts

WAYS = {"bright": 70.0, "dark": -70.0}


@pytest.mark.parametrize("contrast", WAYS.values(), ids=WAYS.keys())
@pytest.mark.parametrize("diameter", [2.0, 3.0, 4.0, 5.0])
def test_place_is_not_biased(diameter, contrast):
    rng = np.random.default_rng(11)
    cutouts, expected, true = moving_balls(
        rng, 150, diameter=diameter, contrast=contrast, noise=1.5, motion=(9.0, -4.0), exposure=0.05
    )
    sighting, _ = fit_positions(cutouts, expected, 0.05)
    assert sighting.found.all()
    error = sighting.pixels - true
    assert np.all(np.abs(error.mean(axis=0)) < 0.05)
    # Nor by where in the pixel the ball lies: the error does not follow the fraction.
    part = true - np.rint(true)
    for axis in range(2):
        for side in (part[:, axis] < -0.2, np.abs(part[:, axis]) < 0.2, part[:, axis] > 0.2):
            assert abs(error[side, axis].mean()) < 0.05
    assert np.all(np.sign(sighting.snr) == np.sign(contrast))


@pytest.mark.parametrize("contrast", WAYS.values(), ids=WAYS.keys())
@pytest.mark.parametrize("motion", [(12.0, 0.0), (9.0, 7.0), (-8.0, 3.0)])
def test_streak_is_located_at_its_middle(motion, contrast):
    rng = np.random.default_rng(12)
    cutouts, expected, true = moving_balls(
        rng, 60, diameter=3.0, contrast=contrast, noise=1.5, motion=motion, exposure=0.5
    )
    sighting, _ = fit_positions(cutouts, expected, 0.5)
    assert sighting.found.all()
    assert np.all(np.abs((sighting.pixels - true).mean(axis=0)) < 0.05)


@pytest.mark.parametrize(
    ("contrast", "noise", "exposure"),
    [
        (60.0, 5.0, 0.05),
        pytest.param(-60.0, 5.0, 0.05, marks=pytest.mark.long),
        pytest.param(60.0, 4.0, 0.5, marks=pytest.mark.long),
    ],
)
@pytest.mark.parametrize("diameter", [2.5, 4.0])
def test_covariance_is_honest(diameter, contrast, noise, exposure):
    # The normalised error squared of a two-dimensional normal error is chi-square with two
    # degrees of freedom, mean 2 (Bar-Shalom, Li, Kirubarajan, 2001, 5.4).
    rng = np.random.default_rng(13)
    cutouts, expected, true = moving_balls(
        rng,
        220,
        diameter=diameter,
        contrast=contrast,
        noise=noise,
        motion=(9.0, -4.0),
        exposure=exposure,
    )
    sighting, _ = fit_positions(cutouts, expected, exposure)
    kept = sighting.found
    assert kept.mean() > 0.97
    # The drawn ball has no seam or felt, so what is granted to these is taken off first.
    granted = LEAST_U_PX**2 + (SHAPE_SHARE * diameter) ** 2
    spread = sighting.covariances[kept] - granted * np.eye(2)
    error = (sighting.pixels - true)[kept]
    squared = np.einsum("ni,nij,nj->n", error, np.linalg.inv(spread), error)
    assert np.mean(squared) == pytest.approx(2.0, rel=0.3)


def test_streak_is_less_sure_along_itself_than_across():
    rng = np.random.default_rng(14)
    cutouts, expected, _ = moving_balls(
        rng, 40, diameter=3.0, contrast=50.0, noise=4.0, motion=(14.0, 0.0), exposure=0.7
    )
    sighting, _ = fit_positions(cutouts, expected, 0.7)
    along, across = sighting.covariances[:, 0, 0], sighting.covariances[:, 1, 1]
    assert np.median(along) > 1.5 * np.median(across)


@pytest.mark.parametrize("share", [0.15, 0.4, 0.65])
def test_exposure_share_is_recovered(share):
    rng = np.random.default_rng(15)
    cutouts, expected, _ = moving_balls(
        rng, 30, diameter=3.5, contrast=70.0, noise=2.0, motion=(11.0, 6.0), exposure=share
    )
    _, exposure = fit_positions(cutouts, expected)
    assert exposure == pytest.approx(share, abs=0.08)


@pytest.mark.parametrize(("diameter", "step", "share"), [(5.9, 36.0, 0.0265), (3.0, 18.0, 0.03)])
@pytest.mark.parametrize("noise", [2.0, 6.0])
def test_short_streak_of_a_ball_that_moves_far_is_not_drawn_long(diameter, step, share, noise):
    # 4K at 30 frames a second: the ball steps several diameters and blurs by a pixel. A streak
    # taken for longer than it is lets the place slide along the path.
    rng = np.random.default_rng(3)
    cutouts, expected, true = moving_balls(
        rng, 60, diameter=diameter, contrast=30.0, noise=noise, motion=(step, 0.0), exposure=share,
        side=51,
    )  # fmt: skip
    positions, exposure = fit_positions(cutouts, expected)
    assert abs(exposure - share) * step < 0.5 * diameter
    error = (positions.pixels - true)[positions.found]
    best, _ = fit_positions(cutouts, expected, share)
    least = (best.pixels - true)[best.found]
    assert error[:, 0].std() < 1.15 * least[:, 0].std()
    assert error[:, 0].std() < 1.3 * error[:, 1].std()


def test_losses_of_an_encoder_do_not_lengthen_the_streak():
    # A smoothed picture is wider on both axes; only a streak is wider along the path alone.
    rng = np.random.default_rng(4)
    cutouts, expected, _ = moving_balls(
        rng,
        40,
        diameter=5.9,
        contrast=80.0,
        noise=1.5,
        motion=(36.0, 0.0),
        exposure=0.0265,
        side=51,
    )
    smooth = [cv2.GaussianBlur(patch.astype(np.float32), (0, 0), 0.8) for patch in cutouts.patches]
    lossy = Cutouts(np.rint(np.array(smooth)).astype(np.int16), cutouts.corners)
    _, exposure = fit_positions(lossy, expected)
    assert exposure * 36.0 < 3.0


@pytest.mark.parametrize(("level", "slope"), [(25.0, 0.0), (12.0, 0.4)])
def test_lamps_that_flicker_neither_lengthen_the_streak_nor_hide_the_ball(level, slope):
    # From frame to frame the light changes by a level, and by bands that roll with the shutter.
    rng = np.random.default_rng(8)
    cutouts, expected, true = moving_balls(
        rng, 30, diameter=5.0, contrast=40.0, noise=3.0, motion=(14.0, 0.0), exposure=0.17, side=45
    )
    band = level + slope * (np.arange(45) - 22.0)[:, None]
    lit = Cutouts((cutouts.patches + np.rint(band)).astype(np.int16), cutouts.corners)
    usual, _ = fit_positions(cutouts, expected)
    positions, exposure = fit_positions(lit, expected)
    assert exposure * 14.0 < 4.0
    assert np.all(positions.found)
    assert (positions.pixels - true)[:, 0].std() < 1.3 * (usual.pixels - true)[:, 0].std()
    if_steady = np.median(np.abs(usual.snr))
    assert np.median(np.abs(positions.snr)) > (0.9 if slope == 0.0 else 0.4) * if_steady


def test_neighbouring_frames_ball_in_the_patch_does_not_pull():
    # A slow ball: its earlier and later pictures lie within the patch, negative.
    rng = np.random.default_rng(16)
    cutouts, expected, true = moving_balls(
        rng, 150, diameter=4.0, contrast=70.0, noise=1.5, motion=(5.5, 0.0), exposure=0.1
    )
    sighting, _ = fit_positions(cutouts, expected, 0.1)
    error = sighting.pixels - true
    assert np.all(np.abs(error.mean(axis=0)) < 0.05)
    assert np.all(error.std(axis=0) < 0.15)


def test_nothing_is_found_in_noise():
    rng = np.random.default_rng(17)
    cutouts, expected, _ = moving_balls(
        rng, 300, diameter=3.0, contrast=0.0, noise=4.0, motion=(9.0, -4.0), exposure=0.1
    )
    sighting, _ = fit_positions(cutouts, expected, 0.1)
    assert sighting.found.mean() < 0.2


def test_places_are_in_the_frames_own_pixels():
    rng = np.random.default_rng(18)
    cutouts, expected, true = moving_balls(
        rng, 20, diameter=3.0, contrast=70.0, noise=1.0, motion=(9.0, -4.0), exposure=0.1
    )
    corner = np.array([700, 310])
    moved = Cutouts(cutouts.patches, cutouts.corners + corner)
    there = ExpectedBall(
        expected.pixels + corner,
        expected.motion_px,
        expected.before_px,
        expected.after_px,
        expected.diameters_px,
    )
    here, _ = fit_positions(cutouts, expected, 0.1)
    away, _ = fit_positions(moved, there, 0.1)
    np.testing.assert_allclose(away.pixels, here.pixels + corner, atol=1e-9)
    assert np.abs(away.pixels - true - corner).max() < 0.2


def test_no_cuttings_give_no_sighting():
    nothing = np.zeros((0, 2))
    empty = Cutouts(np.zeros((0, 15, 15), np.int16), np.zeros((0, 2), np.int64))
    expected = ExpectedBall(nothing, nothing, nothing, nothing, np.zeros(0))
    sighting, exposure = fit_positions(empty, expected, 0.3)
    assert len(sighting.pixels) == 0 and exposure == 0.3


@pytest.mark.parametrize("diameter", [2.0, 3.0, 4.5])
def test_one_light_serves_before_dark_and_before_bright(diameter):
    # Lit from above, drawn in linear light and coded as a camera does: before dark the place lies
    # high, before bright low, and one unevenness takes both off.
    rng = np.random.default_rng(19)
    scenes = [
        lit_balls(rng, 20, diameter=diameter, ball=0.28, behind=behind, fall=0.6)
        for behind in (0.08, 0.5)
    ]
    lights = np.linspace(0.0, 40.0, 21)
    rows = np.empty((2, len(lights)))
    for which, (cutouts, expected, true) in enumerate(scenes):
        for at, strength in enumerate(lights):
            light = np.array([0.0, -strength])
            sighting, _ = fit_positions(cutouts, expected, 0.0, light)
            assert sighting.found.all()
            middle = sighting.pixels - sighting.lean[:, None] * light
            rows[which, at] = np.median(middle[:, 1] - true[:, 1])
            assert abs(np.median(middle[:, 0] - true[:, 0])) < 0.03
    assert rows[0, 0] < -0.2 and rows[1, 0] > 0.2
    best = np.argmin(np.abs(rows).max(axis=0))
    assert 5.0 < lights[best] < 35.0
    assert np.all(np.abs(rows[:, best]) < 0.06)


def test_lean_predicts_the_place_under_another_light():
    rng = np.random.default_rng(20)
    cutouts, expected, _ = lit_balls(rng, 20, diameter=3.5, ball=0.28, behind=0.08, fall=0.4)
    light, more = np.array([4.0, -16.0]), np.array([1.0, -2.0])
    here, _ = fit_positions(cutouts, expected, 0.0, light)
    there, _ = fit_positions(cutouts, expected, 0.0, light + more)
    moved = (there.pixels - there.lean[:, None] * (light + more)) - (
        here.pixels - here.lean[:, None] * light
    )
    np.testing.assert_allclose(moved, -here.lean[:, None] * more, atol=0.006)
    assert np.all(np.abs(moved[:, 1]) > 0.02)


def hidden_by_balls(count: int) -> tuple[Cutouts, ExpectedBall, np.ndarray]:
    """Cutouts of balls before the edge of something darker, which is as bright as they at its top.

    A pixel shows the ball in the share that it covers and the background in the rest.
    """
    rng, side = np.random.default_rng(17), 31
    true = 15.0 + rng.uniform(-0.5, 0.5, (count, 2))
    patches = np.empty((count, side, side), np.int16)
    behind = np.empty((count, 17, 17), np.uint8)
    rows = np.arange(side)[:, None]
    for index, place in enumerate(true):
        edge = place[1] + rng.uniform(-1.0, 1.0)
        background = 150.0 - 60.0 / (1.0 + np.exp(-(rows - edge) / 0.7)) + np.zeros((side, side))
        cover = disc((side, side), place, 3.0, np.zeros(2))
        before, now, after = (
            film(picture, rng, 1.0).astype(np.int16)
            for picture in (background, background * (1.0 - cover) + 200.0 * cover, background)
        )
        patches[index] = 2 * now - before - after
        behind[index] = ((before + after) // 2)[7:24, 7:24]
    still, far = np.zeros((count, 2)), np.full((count, 2), 99.0)
    expected = ExpectedBall(
        true + rng.normal(0.0, 0.3, (count, 2)), still, -far, far, np.full(count, 3.0)
    )
    return Cutouts(patches, np.zeros((count, 2), np.int64), behind), expected, true


def test_a_ball_hides_its_own_part_of_an_uneven_background() -> None:
    cutouts, expected, true = hidden_by_balls(60)
    aware, _ = fit_positions(cutouts, expected, 0.0)
    blind, _ = fit_positions(replace(cutouts, behind=None), expected, 0.0)
    off, blind_off = aware.pixels - true, blind.pixels - true
    assert aware.found.all()
    # What is left comes from the edge's softness, which is not quite that of the drawn picture.
    assert np.abs(off.mean(axis=0)).max() < 0.07 < 0.18 < blind_off[:, 1].mean()
    assert off[:, 1].std() < 0.5 * blind_off[:, 1].std()
    # A ball that is seen in the frames held against hides what is not known.
    near = replace(expected, before_px=expected.before_px / 25.0)
    np.testing.assert_allclose(
        fit_positions(cutouts, near, 0.0)[0].pixels,
        fit_positions(replace(cutouts, behind=None), near, 0.0)[0].pixels,
    )
