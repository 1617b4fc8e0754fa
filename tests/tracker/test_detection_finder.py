"""From frames to candidates: balls by luma and by colour, each in its own frame."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.drawn_balls import disc, film
from tracker.detection import CandidateFinder, ExpectedBall, SearchSettings, locate_ball

SHAPE = (240, 320)
HALF = (120, 160)
SETTINGS = SearchSettings(diameter_px=4.0, step_px=9.0, lag=1, window=(0, 0, 320, 240), most=60)


def path(index):
    return np.array([30.0 + 8.3 * index, 180.0 - 6.1 * index + 0.16 * index**2])


def candidates_of(rng, frames, luma_contrast, blue_contrast, with_blueness=True, settings=SETTINGS):
    """Run the finder over a ball on flat ground, in luma and half-size blue difference.

    The noise is let run for a while before the ball appears, as in any clip.
    """
    finder = CandidateFinder(settings)
    found = []
    for index in range(-60, frames):
        luma, blue = np.full(SHAPE, 110.0), np.full(HALF, 120.0)
        if index >= 0:
            centre = path(index)
            luma += luma_contrast * disc(SHAPE, centre, 4.0)
            # Colour pixels in the middle of their two by two luma pixels.
            blue += blue_contrast * disc(HALF, (centre - 0.5) / 2.0, 2.0)
        blueness = film(blue, rng, 1.5) if with_blueness else None
        found += finder.push(index, index / 30.0, film(luma, rng, 2.0), blueness)
    return found + finder.finish()


def hits(found, reach):
    flying = [each for each in found if each.frame >= 1]
    near = [
        len(each.pixels) > 0
        and np.min(np.max(np.abs(each.pixels - path(each.frame)), axis=1)) <= reach
        for each in flying
    ]
    return float(np.mean(near))


@pytest.mark.parametrize("contrast", [50.0, -50.0])
def test_ball_is_a_candidate_in_every_frame(contrast):
    found = candidates_of(np.random.default_rng(1), 24, contrast, 0.0)
    assert hits(found, 2.0) == 1.0


def test_yellow_ball_as_bright_as_its_background_is_found_by_colour_only():
    with_colour = candidates_of(np.random.default_rng(2), 24, 0.0, -45.0)
    without = candidates_of(np.random.default_rng(2), 24, 0.0, -45.0, with_blueness=False)
    assert hits(with_colour, 3.0) > 0.95
    assert hits(without, 3.0) < 0.3


def test_ball_seen_in_both_components_is_one_candidate():
    found = candidates_of(np.random.default_rng(3), 24, 60.0, -45.0)
    near = {
        each.frame: int(np.sum(np.max(np.abs(each.pixels - path(each.frame)), axis=1) <= 5.0))
        for each in found
        if each.frame >= 1
    }
    assert near == dict.fromkeys(range(1, 23), 1)


@pytest.mark.parametrize("lag", [1, 2, 4])
def test_candidates_belong_to_the_frame_lag_ago(lag):
    settings = SearchSettings(4.0, 9.0, lag, (0, 0, 320, 240), 60)
    found = candidates_of(np.random.default_rng(4), 20, 60.0, 0.0, settings=settings)
    assert [each.frame for each in found] == list(range(-60 + lag, 20 - lag))
    assert all(each.time_s == each.frame / 30.0 for each in found)
    settled = [each for each in found if each.frame >= lag]
    assert hits(settled, 2.0) == 1.0


@pytest.mark.parametrize(("in_colour", "middle"), [(False, (150.5, 100.5)), (True, (151.5, 101.5))])
def test_a_candidate_lies_in_the_middle_of_what_changed(in_colour, middle):
    """Of 2 by 2 pixels; a pixel of the blue difference lies in the middle of four of luma."""
    finder = CandidateFinder(replace(SETTINGS, diameter_px=1.5))
    found = []
    for index in range(12):
        luma, blue = np.full(SHAPE, 110, np.uint8), np.full(HALF, 120, np.uint8)
        if index == 6:
            (blue[50:52, 75:77] if in_colour else luma[100:102, 150:152])[:] = 170
        found += finder.push(index, index / 30.0, luma, blue)
    (seen,) = [each for each in found if len(each.pixels)]
    assert seen.frame == 6 and seen.pixels.tolist() == [list(middle)]


def test_strongest_places_are_kept_when_there_are_too_many():
    settings = SearchSettings(4.0, 9.0, 1, (0, 0, 320, 240), 8)
    found = candidates_of(np.random.default_rng(5), 24, 60.0, 0.0, settings=settings)
    assert all(len(each.pixels) <= 8 + 4 for each in found)
    assert hits(found, 2.0) == 1.0


def test_a_window_computed_with_arrays_is_searched_as_one_of_plain_numbers():
    finder = CandidateFinder(SearchSettings(4.0, 9.0, 1, tuple(np.array((0, 0, 320, 240))), 60))
    frame = np.full(SHAPE, 90, np.uint8)
    found = [finder.push(index, index / 60.0, frame) for index in range(12)]
    frames = [one.frame for some in found for one in some]
    assert frames and frames == list(range(1, 1 + len(frames)))


def test_nothing_outside_the_window_is_a_candidate():
    settings = SearchSettings(4.0, 9.0, 1, (100, 60, 220, 160), 60)
    for each in candidates_of(np.random.default_rng(6), 10, 60.0, -45.0, settings=settings):
        assert np.all(each.pixels >= (99, 59)) and np.all(each.pixels <= (221, 161))


def test_patches_are_twice_the_frame_less_its_neighbours():
    rng = np.random.default_rng(7)
    frames = [
        film(110.0 + 80.0 * disc(SHAPE, path(index), 4.0), rng, 2.0) for index in range(12, 15)
    ]
    finder = CandidateFinder(SETTINGS)
    given = [finder.push(index, index / 30.0, frame) for index, frame in enumerate(frames)]
    assert given[:2] == [[], []]
    (got,) = given[2]
    assert len(got.pixels) > 0
    before, now, after = (frame.astype(int) for frame in frames)
    whole = 2 * now - before - after
    side = got.luma.patches.shape[1]
    for (column, row), patch in zip(got.luma.corners, got.luma.patches, strict=True):
        np.testing.assert_array_equal(patch, whole[row : row + side, column : column + side])


@pytest.mark.parametrize("diameter", [9.0, 14.0, 30.0])
def test_large_ball_is_found_in_every_frame(diameter):
    step = 1.3 * diameter
    finder = CandidateFinder(SearchSettings(diameter, step, 1, (0, 0, 320, 240), 60))
    rng = np.random.default_rng(8)
    distance_px, found = {}, []
    for index in range(-30, 7):
        luma = np.full(SHAPE, 110.0)
        if index >= 0:
            luma += 50.0 * disc(SHAPE, (40.0 + step * index, 120.0), diameter)
        found += finder.push(index, index / 30.0, film(luma, rng, 2.0))
    for got in found + finder.finish():
        if got.frame >= 1:
            at = np.array([40.0 + step * got.frame, 120.0])
            distance_px[got.frame] = np.min(np.linalg.norm(got.pixels - at, axis=1), initial=99.0)
    assert list(distance_px) == list(range(1, 6))
    assert max(distance_px.values()) < 0.45 * diameter


@pytest.mark.parametrize("contrasts", [(60.0, -45.0), (0.0, -45.0)], ids=["both", "colour alone"])
def test_place_from_luma_and_colour_is_not_biased(contrasts):
    error, spread = [], []
    for seed in range(3):
        found = candidates_of(np.random.default_rng(20 + seed), 26, *contrasts)
        chosen, pixels, motion = [], [], []
        for each in found:
            if each.frame < 2:
                continue
            at = path(each.frame)
            middle = each.luma.corners + (each.luma.patches.shape[1] - 1) / 2.0
            gap = np.max(np.abs(middle - at), axis=1)
            if len(gap) and gap.min() < 6.0:
                chosen.append((each, int(np.argmin(gap))))
                pixels.append(at)
                motion.append((path(each.frame + 1) - path(each.frame - 1)) / 2.0)
        motion = np.array(motion)
        expected = ExpectedBall(
            np.array(pixels), motion, -motion, motion, np.full(len(motion), 4.0)
        )
        sighting, _ = locate_ball(chosen, expected, 0.0)
        kept = sighting.found
        assert kept.mean() > 0.9
        error.append((sighting.pixels - np.array(pixels))[kept])
        spread.append(sighting.covariances[kept])
    error, spread = np.concatenate(error), np.concatenate(spread)
    # With colour alone the siting of its pixels is unknown to a quarter of a pixel.
    assert np.all(np.abs(error.mean(axis=0)) < (0.05 if contrasts[0] else 0.35))
    squared = np.einsum("ni,nij,nj->n", error, np.linalg.inv(spread), error)
    assert np.mean(squared) < 2.6


@pytest.mark.parametrize("rows", [1, 2, 3, 9, 17])
@pytest.mark.parametrize("columns", [1, 2, 8, 16, 40])
@pytest.mark.parametrize("diameter", [1.5, 14.0, 60.0])
def test_a_tiny_frame_or_window_is_searched_as_far_as_it_goes(rows, columns, diameter):
    rng = np.random.default_rng(9)
    for window in ((0, 0, columns, rows), (columns // 3, rows // 3, columns + 5, rows + 5)):
        finder = CandidateFinder(SearchSettings(diameter, 9.0, 1, window, 60))
        found = [
            finder.push(
                index,
                index / 30.0,
                rng.integers(0, 255, (rows, columns)).astype(np.uint8),
                rng.integers(0, 255, (rows // 2, columns // 2)).astype(np.uint8),
            )
            for index in range(12)
        ]
        given = [each for some in [*found, finder.finish()] for each in some]
        assert len(given) == 10
        for each in given:
            assert np.all(each.pixels >= -1.0) and np.all(each.pixels <= (columns + 1, rows + 1))
            assert len(each.luma.patches) == len(each.pixels) == len(each.strength)


@pytest.mark.parametrize("shape", [(720, 1280), (718, 1278), (337, 601)])
def test_candidates_of_the_whole_frame_come_beside_those_of_the_window(shape):
    """Real sizes, some of them odd: a queue's length, a block or a word may not fit into these."""
    rng = np.random.default_rng(shape[1])
    rows, columns = shape
    # Even edges: a window begins with a whole cell.
    window = (columns // 4 // 2 * 2, 40, columns // 4 * 3, rows // 3 * 2)
    settings = SearchSettings(4.0, 9.0, 1, window, 30)
    finders = [
        CandidateFinder(replace(settings, everywhere=True)),
        CandidateFinder(replace(settings, everywhere=True)),
        CandidateFinder(replace(settings, window=(0, 0, columns, rows)), cutouts=False),
    ]
    both, narrowed, whole = ([] for _ in finders)
    for frame in range(15):
        # One ball within the window, and one beyond it.
        picture = rng.integers(105, 115, shape, np.uint8)
        for row in (rows // 2, rows - 30):
            column = columns // 4 + 20 + 9 * frame
            picture[row : row + 4, column : column + 4] += 60
        blue = np.full(((rows + 1) // 2, (columns + 1) // 2), 128, np.uint8)
        if frame == 9:
            finders[1].narrow()
        for finder, found in zip(finders, (both, narrowed, whole), strict=True):
            found += finder.push(frame, frame / 30.0, picture, blue)
    for finder, found in zip(finders, (both, narrowed, whole), strict=True):
        found += finder.finish()
    assert [each.frame for each in both] == list(range(1, 14))
    for near, few, far in zip(both, narrowed, whole, strict=True):
        np.testing.assert_array_equal(near.everywhere[0], far.pixels)
        np.testing.assert_array_equal(near.everywhere[1], far.strength)
        np.testing.assert_array_equal(near.in_whole_frame().pixels, far.pixels)
        np.testing.assert_array_equal(few.pixels, near.pixels)
        np.testing.assert_array_equal(few.strength, near.strength)
        assert near.in_window().everywhere is None and len(near.luma.patches) == len(near.pixels)
        x, y = near.pixels.T
        assert np.all((x >= window[0]) & (x <= window[2]) & (y >= window[1]) & (y <= window[3]))
        seen = [
            np.hypot(*(far.pixels - (columns / 4 + 21.5 + 9 * near.frame, row + 1.5)).T).min()
            for row in (rows // 2, rows - 30)
        ]
        assert near.frame < 3 or max(seen) < 3.0
    assert narrowed[-1].everywhere is None and narrowed[0].everywhere is not None


@pytest.mark.parametrize("alone", [True, False], ids=["without cutouts", "beside a window"])
def test_a_path_from_coarse_cells_scatters_by_less_than_a_cell(alone):
    """A ball 6 px wide is looked for in cells of 4 px, whose corners alone scatter by 1.6 px."""
    settings = SearchSettings(6.0, 9.0, 1, (0, 0, *SHAPE[::-1]), 60, everywhere=not alone)
    finder, rng = CandidateFinder(settings, cutouts=not alone), np.random.default_rng(7)
    found = []
    for index in range(-40, 24):
        luma = np.full(SHAPE, 110.0)
        if index >= 0:
            luma += 60.0 * disc(SHAPE, path(index), 6.0)
        found += finder.push(index, index / 30.0, film(luma, rng, 2.0))
    off, coarse = [], []
    for each in found + finder.finish():
        if each.frame >= 1:
            pixels = each.pixels if each.everywhere is None else each.everywhere[0]
            for places, kept in ((pixels, off), (each.pixels, coarse)):
                gap = places - path(each.frame)
                kept.append(gap[np.argmin(np.hypot(*gap.T))])
    assert len(off) == 22
    assert np.hypot(*np.std(off, axis=0)) < 1.0
    if not alone:
        assert np.hypot(*np.std(coarse, axis=0)) > 1.2
