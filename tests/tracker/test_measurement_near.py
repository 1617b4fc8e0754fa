"""A ball that is seen so near that its size shows is found by its middle."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.timebase import Cadence, check_cadence
from tests.tracker.invented_shot import invented
from tests.tracker.test_following_arcs import FRAME_S, WIDTH
from tests.tracker.test_measurement_selection import refused
from tests.tracker.test_video_change import measured
from tracker.detection import CandidateFinder, SearchSettings
from tracker.following.arcs import fit_arc
from tracker.following.linking import ArcSearch, NearBall
from tracker.following.throws import is_near_throw, other_ball
from tracker.measurement import FittedShot
from tracker.measurement.scouted_sizes import NEAR_DIAMETERS_PX, same_ball
from tracker.measurement.scouting import scout
from tracker.measurement.starts.near import each_once
from tracker.records import ReasonCode, RejectedCandidate

SIZE = (320, 240)
DIAMETER_PX, FALL = 16.0, 1400.0
"""A ball of 0.112 m that is 16 px wide falls by 9.81 / 0.112 diameters a second squared."""

NEAR = NearBall(DIAMETER_PX, FALL)


def ball_at(time_s: float) -> np.ndarray:
    return np.array([40.0 + 200.0 * time_s, 200.0 - 600.0 * time_s + 0.5 * FALL * time_s**2])


def picture(time_s: float, rng: np.random.Generator) -> np.ndarray:
    """A bright disc of 16 px before a dull background."""
    columns, rows = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    middle = ball_at(time_s)
    off = np.hypot(columns - middle[0], rows - middle[1])
    shown = 80.0 + 100.0 / (1.0 + np.exp(np.minimum((off - DIAMETER_PX / 2.0) / 0.4, 50.0)))
    return np.clip(shown + rng.normal(0.0, 1.5, off.shape), 0, 255).astype(np.uint8)


def followed(centred: bool) -> list:
    rng = np.random.default_rng(4)
    settings = SearchSettings(DIAMETER_PX, 0.0, 2, (0, 0, *SIZE), 20, centred=centred)
    finder, search, found = CandidateFinder(settings), ArcSearch(SIZE[0], 1.0 / 30.0, NEAR), []
    for index in range(26):
        for candidates in finder.push(index, index / 30.0, picture(index / 30.0, rng)):
            found += search.push(candidates)
    for candidates in finder.finish():
        found += search.push(candidates)
    return [*found, *search.finish()]


def test_a_large_ball_is_followed_by_its_middle() -> None:
    thrown = [arc for arc in followed(centred=True) if is_near_throw(arc, NEAR, 1.0 / 30.0)]
    assert thrown
    longest = max(thrown, key=lambda arc: len(arc.frames))
    assert len(longest.frames) > 15
    truth = np.array([ball_at(time_s) for time_s in longest.times_s])
    assert np.sqrt(np.mean((longest.pixels - truth) ** 2)) < 0.1 * DIAMETER_PX
    assert longest.acceleration_pxps2[1] == pytest.approx(FALL, rel=0.1)


def arc_of(fall: float, count: int = 20, extent: float = 1.0):
    times = np.arange(count) * FRAME_S
    pixels = np.column_stack([100.0 + 40.0 * times, 0.5 * fall * times**2]) * extent
    return fit_arc(np.column_stack([np.arange(count), times, pixels]), FRAME_S)


@pytest.mark.parametrize(
    ("fall", "may"), [(FALL, True), (0.6 * FALL, True), (0.4 * FALL, False), (2.0 * FALL, False)]
)
def test_size_and_fall_must_be_those_of_one_distance(fall: float, may: bool) -> None:
    assert is_near_throw(arc_of(fall, 30), NEAR, FRAME_S) == may


@pytest.mark.parametrize(
    ("fall", "count", "times"),
    [
        (FALL / 3.0, 30, 3.0),
        (3.0 * FALL, 30, 1.0 / 3.0),
        (0.6 * FALL, 30, None),
        (1.7 * FALL, 30, None),
        (0.5 * FALL, 14, None),
        (4.0 * FALL, 14, 0.25),
        (4.0 * FALL, 13, None),
        (-FALL, 30, None),
    ],
)
def test_size_and_fall_tell_another_ball(fall: float, count: int, times: float | None) -> None:
    """A ball three times as large is three times as far at the same size, and falls a third.

    At half the fall, fourteen positions reach less than two diameters.
    """
    assert other_ball(arc_of(fall, count), NEAR, 2.0 * FRAME_S) == (
        None if times is None else pytest.approx(times, rel=1e-6)
    )


def test_what_hardly_moves_is_no_near_throw() -> None:
    assert not is_near_throw(arc_of(FALL, 6), NEAR, FRAME_S)
    trembling = arc_of(FALL, 13)
    assert np.ptp(trembling.pixels, axis=0).max() < 2.0 * DIAMETER_PX
    assert not is_near_throw(trembling, NEAR, FRAME_S)


def test_two_sizes_that_are_looked_for_leave_no_gap() -> None:
    steps = np.array(NEAR_DIAMETERS_PX[1:]) / NEAR_DIAMETERS_PX[:-1]
    assert np.all(steps < 1.8 / 0.55)
    assert np.all(steps <= 2.0)


def test_paths_of_one_ball_are_the_same_where_they_overlap() -> None:
    whole, other = arc_of(FALL, 30), arc_of(FALL, 20)
    assert same_ball(whole, other, WIDTH)
    later = fit_arc(np.column_stack([whole.frames, whole.times_s + 5.0, whole.pixels]), FRAME_S)
    assert not same_ball(whole, later, WIDTH)
    aside = fit_arc(
        np.column_stack([whole.frames, whole.times_s, whole.pixels + 0.2 * WIDTH]), FRAME_S
    )
    assert not same_ball(whole, aside, WIDTH)


@pytest.mark.long
def test_repeated_frames_are_reported_also_where_their_times_stand(tmp_path) -> None:
    """Frames that repeat a picture and are followed by twice the motion: a camera that lagged."""
    moments = [moment - (moment % 12 == 7) for moment in range(90)]
    facts, changes = measured(tmp_path / "lagging.mp4", moments, 30)
    assert check_cadence(changes, facts.file_times_s).cadence is Cadence.TRUE
    camera = looking_at((0.0, -20.0, 1.5), (0.0, 0.0, 2.0), 300.0, facts.size_px)
    notes = " ".join(scout(facts, camera).notes)
    assert "frames show the picture before once more" in notes
    facts, _ = measured(tmp_path / "even.mp4", range(60), 30)
    assert "once more" not in " ".join(scout(facts, camera).notes)


@pytest.mark.parametrize(("apart_px", "rows"), [(0.5, 1), (2.9, 1), (3.1, 2)])
def test_two_paths_over_one_near_ball_make_one_row(apart_px: float, rows: int) -> None:
    """Its edge and a patch on it; the path with more positions stays, in either order."""
    good = FittedShot(*(getattr(invented()[0], name) for name in ("shot", "points", "path")))
    moved = tuple(replace(each, row_px=each.row_px + apart_px) for each in good.points)
    fewer = replace(good.shot, frames_seen=good.shot.frames_seen - 1)
    patch = replace(good, shot=fewer, points=moved)
    other = refused(30.0, 5.0)
    for found in ([good, patch, other], [other, patch, good]):
        once = each_once(found)
        assert [type(each) for each in once[:rows]] == [FittedShot] * rows
        assert once[0] is good and once[-1] is other and len(once) == 3
        rejected = [each for each in once if isinstance(each, RejectedCandidate)]
        codes = [reason.code for each in rejected for reason in each.reasons]
        assert codes.count(ReasonCode.DUPLICATE) == 2 - rows
