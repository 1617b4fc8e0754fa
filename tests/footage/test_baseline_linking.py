"""The baselines get a fair chance: a ball is found, and followed through clutter."""

import numpy as np
import pytest

from tests.bench.detectors import StarSettings, stars
from tests.bench.linking import Gates, Linker
from tests.tracker.drawn_balls import disc


def linked(path, frames=50, clutter=5, missing=0.15, pull_px=(0.0, np.inf)):
    rng = np.random.default_rng(4)
    linker = Linker(Gates(first_px=25.0, px=6.0, pull_px=pull_px), least=10)
    for frame in range(frames):
        places = rng.uniform(0, 900, (clutter, 2))
        if rng.random() > missing:
            places = np.vstack([places, path(frame) + rng.normal(0, 0.4, 2)])
        linker.push(frame, places)
    return linker.finish()


def lob(frame):
    return np.array([40.0 + 12.0 * frame, 700.0 - 16.0 * frame + 0.35 * frame**2])


def test_ball_in_clutter_is_one_track():
    chains = linked(lob)
    longest = max(chains, key=lambda chain: len(chain.frames))
    gaps = [
        np.linalg.norm(place - lob(frame))
        for frame, place in zip(longest.frames, longest.places, strict=True)
    ]
    assert len(longest.frames) >= 35
    assert np.median(gaps) < 1.0


def test_what_rises_ever_faster_is_no_throw():
    assert linked(lambda frame: np.array([300.0, 800.0 - 0.35 * frame**2]), clutter=0) == []


def test_what_stays_is_no_throw():
    assert linked(lambda _: np.array([300.0, 300.0]), clutter=0) == []


def test_what_glides_is_no_throw():
    def glide(frame):
        return np.array([40.0 + 12.0 * frame, 300.0 + 0.02 * frame**2])

    assert len(linked(glide, clutter=0)) == 1
    assert linked(glide, clutter=0, pull_px=(0.35, 1.4)) == []
    assert len(linked(lob, clutter=0, pull_px=(0.35, 1.4))) == 1


def test_star_finder_places_a_ball():
    pytest.importorskip("photutils")
    rng = np.random.default_rng(7)
    noise = np.abs(rng.normal(0.0, 1.0, (120, 160)))
    middle = np.array([70.3, 40.8])
    ball = 30.0 * disc((120, 160), middle, 2.0, np.array([3.0, 1.0]), 0.6)
    places = stars((noise + ball).astype(np.float32), 20, 4.0, StarSettings())
    assert len(places) == 1
    assert np.linalg.norm(places[0] - middle) < 0.3
