"""A close-up, in which a ball is in view for a moment: its path gives the first guess."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, RELEASE_M
from tracker.following import FlightSearch, SearchContext
from tracker.following.hypothesis import straight_flight
from tracker.following.path_starts import SHORT_S, PathStarts
from tracker.following.plane import PlaneMap
from tracker.records import Candidates, Cutouts

FPS = 240.0
CLOSE = looking_at(np.array([2.6, -5.5, 1.4]), np.array([2.6, 0.0, 2.4]), 980.0, (1280, 720))
CONTEXT = SearchContext(CLOSE, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / FPS)
SHOTS = ((0.05, 36.0, 19.0), (0.55, 41.3, 21.2), (1.30, 44.6, 17.4))
"""Time of release (s), launch angle (degrees) and exit speed (m/s) of each shot."""


def film(rng: np.random.Generator, seconds: float, clutter: float = 8.0) -> list[Candidates]:
    flights = [
        (release_s, straight_flight(CONTEXT, release_s, np.radians(angle), speed).trajectory)
        for release_s, angle, speed in SHOTS
    ]
    frames = []
    for index in range(int(seconds * FPS)):
        time_s = index / FPS
        places = [rng.uniform((5, 5), (1275, 715), (rng.poisson(clutter), 2))]
        for release_s, trajectory in flights:
            if release_s <= time_s <= release_s + 0.6:
                pixel = CLOSE.project(trajectory.at(np.array([time_s - release_s]))[:, :3])
                if CLOSE.in_frame(pixel)[0]:
                    places.append(pixel + rng.normal(0.0, 1.0, (1, 2)))
        pixels = np.concatenate(places)
        empty = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        strength = rng.gamma(2.0, 5.0, len(pixels)) + 3.0
        frames.append(Candidates(index, time_s, pixels, strength, empty, None))
    return frames


def test_a_path_gives_time_angle_and_speed() -> None:
    starts = PathStarts(CONTEXT, PlaneMap(CLOSE, RELEASE_M))
    for candidates in film(np.random.default_rng(3), 2.0):
        starts.push(candidates)
    starts.finish()
    for release_s, angle, speed in SHOTS:
        near = starts.between(release_s - 0.05, release_s + 0.05)
        assert near
        launch = near[0].launch[3:6]
        # Drag, which the guess leaves out, makes it slower by some per cent.
        assert np.linalg.norm(launch) == pytest.approx(speed, rel=0.08)
        assert np.degrees(np.arctan2(launch[2], launch[0])) == pytest.approx(angle, abs=2.5)
    assert not starts.between(0.8, 1.1)
    assert not starts.between(5.0, 9.0)


def test_every_shot_of_a_close_up_is_found_wherever_it_lies_in_the_clip() -> None:
    search, found = FlightSearch(CONTEXT), []
    assert 0.0 < search._usual.in_view_s < SHORT_S
    for candidates in film(np.random.default_rng(5), 2.0):
        found += search.push(candidates)
    for block in search.finish():
        found += block
    assert sorted(flight.release_s for flight in found) == pytest.approx(
        [release_s for release_s, _, _ in SHOTS], abs=0.01
    )


def test_clutter_alone_gives_no_flight() -> None:
    search, found = FlightSearch(CONTEXT), []
    for candidates in film(np.random.default_rng(6), 2.0)[: int(0.04 * FPS)]:
        found += search.push(candidates)
    rng = np.random.default_rng(7)
    for index in range(10, 400):
        pixels = rng.uniform((5, 5), (1275, 715), (rng.poisson(8.0), 2))
        empty = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        strength = rng.gamma(2.0, 5.0, len(pixels)) + 3.0
        found += search.push(Candidates(index, index / FPS, pixels, strength, empty, None))
    for block in search.finish():
        found += block
    assert not found


def test_a_release_beside_the_origin_is_where_a_path_began() -> None:
    """Along, across and height of the release differ, and so do the answers for each."""
    context = replace(CONTEXT, release_m=(0.9, 0.1, 1.3))
    starts = PathStarts(context, PlaneMap(CLOSE, context.release_m))
    flight = straight_flight(context, 0.2, np.radians(38.0), 14.0).trajectory
    for frame in range(int(0.24 * FPS), int(0.4 * FPS)):
        pixel = CLOSE.project(flight.at(np.array([frame / FPS - 0.2]))[:, :3])
        empty = Cutouts(np.zeros((1, 1, 1), np.int16), np.rint(pixel).astype(np.int64))
        starts.push(Candidates(frame, frame / FPS, pixel, np.array([20.0]), empty, None))
    starts.finish()
    (start,) = starts.between(0.0, 1.0)
    launch = start.launch[3:6]
    assert start.release_s == pytest.approx(0.2, abs=0.01)
    assert np.linalg.norm(launch) == pytest.approx(14.0, rel=0.05)
    assert np.degrees(np.arctan2(launch[2], launch[0])) == pytest.approx(38.0, abs=2.0)
