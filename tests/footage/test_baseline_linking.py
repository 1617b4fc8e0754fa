"""The baselines' linking gets a fair chance: it follows a thrown ball through clutter."""

import numpy as np

from tests.bench.linking import Gates, Linker


def linked(path, frames=50, clutter=5, missing=0.15):
    rng = np.random.default_rng(4)
    linker = Linker(Gates(first_px=25.0, px=6.0), least=10)
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
