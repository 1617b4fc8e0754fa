"""A shot added by places: which frames stand for a path, and what is fitted to them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, calibrated, circumstances, drawn
from tracker.measurement import added
from tracker.measurement.added import Pick, Picks, picks_along
from tracker.records import Reason, ReasonCode, RejectedCandidate

KNOWN = circumstances(calibrated())
CLIP = SimpleNamespace(times_s=np.arange(200) * 0.01, size_px=(1000, 600))


def six_positions(first=50, **places):
    """A rejected candidate of six positions, the fewest that stand for a shot."""
    pixels = np.column_stack([np.linspace(400.0, 450.0, 6), np.full(6, 300.0)])
    for row, place in places.items():
        pixels[int(row[1:])] = place
    return RejectedCandidate(
        clip="a.mp4",
        release_s=0.1,
        support=200.0,
        frames_seen=6,
        frames_crossed=6,
        reasons=(Reason(ReasonCode.NO_FIT),),
        times_s=0.01 * (first + np.arange(6)),
        pixels=pixels,
    )


@pytest.mark.parametrize("first", [0, 50, 194])
def test_a_path_stands_for_its_shot_from_the_first_frame_of_a_clip_to_the_last(first):
    frames = [pick.frame for pick in picks_along(six_positions(first), CLIP).places]
    assert frames == [first + 1, first + 2, first + 3, first + 4]


def test_a_path_that_outlasts_the_clip_ends_with_it():
    longer = replace(
        six_positions(), times_s=1.93 + 0.01 * np.arange(12), pixels=np.full((12, 2), 300.0)
    )
    assert [pick.frame for pick in picks_along(longer, CLIP).places] == [194, 195, 197, 198]


@pytest.mark.parametrize(
    ("place", "inside"),
    [
        ((0.0, 0.0), True),
        ((0.5, 300.0), True),
        ((-0.1, 300.0), False),
        ((300.0, -0.1), False),
        ((999.9, 599.9), True),
        ((1000.0, 300.0), False),
        ((300.0, 600.0), False),
    ],
)
def test_a_position_lies_in_the_frame_from_its_first_pixel_to_its_last(place, inside):
    if inside:
        assert len(picks_along(six_positions(p2=place), CLIP).places) == 4
    else:
        with pytest.raises(InputError, match="hardly any of its path"):
            picks_along(six_positions(p2=place), CLIP)


def test_places_found_for_a_still_camera_have_the_worst_uncertainty_of_that(monkeypatch):
    """Mean of the variances of both coordinates, beside what the person's click has."""
    found = {
        3: (np.array([10.0, 20.0]), np.diag([0.1, 0.1])),
        5: (np.array([30.0, 40.0]), np.diag([0.3, 0.7])),
    }
    monkeypatch.setattr(added, "FramePass", lambda *_, span: span)
    monkeypatch.setattr(added, "Timing", SimpleNamespace(of_file=lambda _: None))
    monkeypatch.setattr(added, "still_pixels", lambda span, filmed: found)
    context = SimpleNamespace(facts=CLIP, camera=None, settings=None)
    picks = Picks((Pick(3, (11.0, 22.0)), Pick(5, (33.0, 44.0))), 1.2)
    still = added._steadied(context, picks)
    assert still.places == (Pick(3, (10.0, 20.0)), Pick(5, (30.0, 40.0)))
    assert still.u_px == pytest.approx(np.sqrt(1.2**2 + 0.5))


def passing(off_px):
    """A flight that passes so far beside the second of two places, and its context."""
    pixels = np.array([[100.0, 200.0], [300.0, 200.0]])
    off = np.array([[0.0, 0.0], [0.0, off_px]])
    camera = SimpleNamespace(project=lambda _: pixels + off)
    context = SimpleNamespace(facts=CLIP, search_context=lambda: None, camera=camera)
    return context, Picks((Pick(10, (100.0, 200.0)), Pick(20, (300.0, 200.0))), 2.0)


def test_places_six_uncertainties_off_every_flight_are_refused(monkeypatch):
    flight = SimpleNamespace(
        release_s=0.0, trajectory=SimpleNamespace(at=lambda _: np.zeros((2, 6)))
    )
    monkeypatch.setattr(added, "flight_through", lambda *_: flight)
    assert added._flight(*passing(11.99)) is flight
    for off_px in (12.0, 13.0, np.nan):
        with pytest.raises(InputError, match="no flight from the release"):
            added._flight(*passing(off_px))
    monkeypatch.setattr(added, "flight_through", lambda *_: None)
    with pytest.raises(InputError, match="no flight from the release"):
        added._flight(*passing(0.0))


def test_candidates_are_near_within_the_reach_and_a_flight_ends_with_its_trajectory():
    asked = []

    def at(times):
        asked.append(times.tolist())
        return np.zeros((1, 6))

    flight = SimpleNamespace(
        release_s=1.0, trajectory=SimpleNamespace(at=at, times_s=np.array([0.0, 1.0, 2.0]))
    )
    context = SimpleNamespace(camera=SimpleNamespace(project=lambda _: np.array([[500.0, 300.0]])))
    pixels = np.array([[500.0, 309.0], [490.0, 300.0], [500.0, np.nan]])
    candidates = SimpleNamespace(time_s=3.5, pixels=pixels)
    assert added._near(context, flight, 10.0, candidates).tolist() == [True, False, False]
    assert asked == [[2.0]]


def test_places_alone_are_fitted_with_the_uncertainty_of_each_coordinate(monkeypatch):
    case = drawn(np.random.default_rng(7), KNOWN, wrong=False)
    seen = []

    def fit(known, observed, start):
        seen.append(observed.track)
        raise ValueError("enough")

    monkeypatch.setattr(added, "fit_given_gusts", fit)
    places = tuple(
        Pick(int(case.track.frames[row]), tuple(case.track.pixels[row])) for row in (5, 40, 80)
    )
    context = clip_context(KNOWN)
    monkeypatch.setattr(type(context.facts), "times_s", 0.5 + FRAME_S * np.arange(540))
    monkeypatch.setattr(type(context), "row_share_of", lambda *_: np.zeros(3))
    flight = SimpleNamespace(release_s=0.5, launch=case.truth[1:12])
    with pytest.raises(InputError, match="the places fix no flight"):
        added._from_picks(context, flight, Picks(places, 3.0))
    np.testing.assert_array_equal(seen[0].covariances, np.tile(9.0 * np.eye(2), (3, 1, 1)))
    np.testing.assert_array_equal(seen[0].pixels, [each.pixel for each in places])
    assert seen[0].frames.tolist() == [each.frame for each in places]
    assert seen[0].lean.tolist() == [0.0] * 3


def test_a_shot_crosses_the_frames_from_its_release_to_its_landing_that_show_it():
    """At 120 frames a second: half a second of flight, half of which is in the frame."""
    times = FRAME_S * np.arange(240)
    asked = []

    def at(since):
        asked.append(since)
        return np.column_stack([since, np.zeros((len(since), 5))])

    flight = SimpleNamespace(
        release_s=times[60],
        trajectory=SimpleNamespace(at=at, times_s=np.array([0.0, 0.2, 60 * FRAME_S])),
    )
    camera = SimpleNamespace(
        project=lambda points: points, in_frame=lambda points: points[:, 0] < 29.5 * FRAME_S
    )
    context = SimpleNamespace(facts=SimpleNamespace(times_s=times), camera=camera)
    assert added._frames_in_view(context, flight) == 30
    assert len(asked[0]) == 61 and asked[0][0] == 0.0
    later = SimpleNamespace(release_s=9.0, trajectory=flight.trajectory)
    assert added._frames_in_view(context, later) == 0
