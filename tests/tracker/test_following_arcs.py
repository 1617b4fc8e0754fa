"""Arcs are joined out of clutter, and only what falls is a throw."""

import numpy as np
import pytest

from tracker.following.arcs import fit_arc
from tracker.following.linking import MOST_PAIRS, ArcSearch
from tracker.following.throws import is_slow_fall, is_throw
from tracker.records import Candidates, Cutouts

WIDTH, HEIGHT = 1920, 1080
FRAME_S = 1.0 / 60.0
PULL = 400.0


def candidates(frame, pixels):
    nothing = Cutouts(np.zeros((len(pixels), 13, 13), np.int16), np.zeros((len(pixels), 2), int))
    return Candidates(frame, frame * FRAME_S, pixels, np.ones(len(pixels)), nothing, None)


def watched(path, *, seed=1, clutter=40, seen=0.9, frames=130, **how):
    """Give a search the places of a path, where it has any, among as many others."""
    rng = np.random.default_rng(seed)
    search, found = ArcSearch(WIDTH, FRAME_S, **how), []
    for frame in range(frames):
        pixels = rng.uniform((0, 0), (WIDTH, HEIGHT), (clutter, 2))
        place = path(frame * FRAME_S)
        if place is not None and rng.random() < seen:
            pixels = np.vstack([pixels, np.rint(place + rng.normal(0, 0.5, 2))])
        found.extend(search.push(candidates(frame, pixels)))
    return found + search.finish()


def throw(time):
    """A shot with drag, in the picture from 0.4 to 1.9 s."""
    since = time - 0.4
    if not 0.0 <= since <= 1.5:
        return None
    along = 900.0 * since - 110.0 * since**2 + 12.0 * since**3
    return np.array([150.0 + along, 700.0 - 330.0 * since + 0.5 * PULL * since**2])


def throws(found):
    return [arc for arc in found if is_throw(arc, WIDTH, FRAME_S)]


@pytest.mark.parametrize("seed", range(4))
def test_a_throw_is_found_whole_and_alone(seed):
    (arc,) = throws(watched(throw, seed=seed))
    assert arc.times_s[0] < 0.55 and arc.times_s[-1] > 1.8
    assert arc.acceleration_pxps2[1] == pytest.approx(
        PULL, abs=max(5.0 * arc.acceleration_u_pxps2, 15.0)
    )
    since = np.clip(arc.times_s, 0.4, 1.9)
    truth = np.array([throw(time) for time in since])
    assert np.percentile(np.linalg.norm(arc.pixels - truth, axis=1), 90) < 3.0


def test_shorter_paths_are_left_out_where_longer_ones_are_asked_for():
    every, long = (watched(throw, clutter=150, frames=60, **how) for how in ({}, {"least": 6}))
    wanted = [arc for arc in every if len(arc.frames) >= 6]
    assert 1 < len(wanted) < len(every) and min(len(arc.frames) for arc in wanted) == 6
    assert min(len(arc.frames) for arc in every) == 5
    for arc, same in zip(wanted, long, strict=True):
        np.testing.assert_array_equal(arc.pixels, same.pixels)


def test_half_of_the_frames_are_enough():
    assert len(throws(watched(throw, seen=0.65, seed=7))) == 1


@pytest.mark.parametrize(
    "path",
    [
        lambda time: np.array([100.0 + 500.0 * time, 300.0 + 40.0 * time]),
        lambda time: np.array([400.0 + 200.0 * time, 900.0 - 150.0 * time**2]),
        lambda time: np.array([900.0 + 3.0 * np.sin(9.0 * time), 500.0 + 4.0 * np.cos(9.0 * time)]),
        lambda time: None,
    ],
    ids=["bird", "rising", "leaf", "nothing"],
)
def test_what_does_not_fall_is_no_throw(path):
    assert throws(watched(path)) == []


def test_a_throw_shown_far_too_slowly_falls_but_is_none():
    def slow(time):
        place = throw(0.4 + (time - 0.1) / 12.0) if time > 0.1 else None
        return place

    found = [arc for arc in watched(slow, frames=900, clutter=10) if len(arc.frames) > 300]
    assert found and not throws(found)
    assert is_slow_fall(max(found, key=lambda arc: len(arc.frames)), WIDTH, FRAME_S)


def test_a_straight_way_is_no_slow_fall():
    found = watched(lambda time: np.array([100.0 + 500.0 * time, 300.0 + 40.0 * time]))
    assert found and not any(is_slow_fall(arc, WIDTH, FRAME_S) for arc in found)


def test_of_too_many_beginnings_the_strongest_are_kept():
    """Where everything moves: each of 50 places could have come from each of 50."""
    rng = np.random.default_rng(3)
    places = rng.uniform((300, 300), (370, 370), (50, 2))
    strength = np.arange(50.0)
    linking = ArcSearch(1920, 1.0 / 60.0)
    for frame in range(2):
        pixels = places + 30.0 * frame
        empty = Cutouts(np.zeros((50, 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        linking.push(Candidates(frame, frame / 60.0, pixels, strength, empty, None))
    assert len(linking._count) == MOST_PAIRS
    began = {tuple(each) for each in linking._pairs[:, 0, 2:].tolist()}
    assert began == {tuple(each) for each in places[strength > 50 - len(began) - 1].tolist()}


def _lob(times, speed, angle_deg, drag, px_per_m):
    """Return the pixels of a lob seen square from the side: drag by steps of 0.5 ms."""
    step, place, path = 5e-4, np.zeros(2), []
    velocity = speed * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    for _ in range(round(times[-1] / step) + 2):
        path.append(place)
        pull = np.array([0.0, -9.81]) - drag * np.linalg.norm(velocity) * velocity
        place, velocity = place + step * velocity + 0.5 * step**2 * pull, velocity + step * pull
    path = np.array(path)[np.rint(times / step).astype(int)]
    return np.column_stack([40.0 + px_per_m * path[:, 0], 1000.0 - px_per_m * path[:, 1]])


@pytest.mark.parametrize(("fps", "drag"), [(60.0, 0.022), (30.0, 0.022), (60.0, 0.030)])
def test_a_long_lob_is_a_throw_whatever_drag_makes_of_its_curve(fps, drag):
    # A tennis ball with a drag coefficient of 0.6: k of 0.037 /m, docs/methods/flight.md.
    times = np.arange(round(3.5 * fps)) / fps
    pixels = _lob(times, 25.0, 60.0, drag, 58.0)
    pixels = pixels + np.random.default_rng(3).normal(0, 0.4, pixels.shape)
    arc = fit_arc(np.column_stack([np.arange(len(times)), times, pixels]), 1.0 / fps)
    assert is_throw(arc, WIDTH, 1.0 / fps)
    assert arc.scatter_px < 0.7
