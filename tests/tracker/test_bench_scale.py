"""The films that the bench of scale measures are as long as it says."""

from pathlib import Path

import numpy as np

from tests.bench.scale import film, looped
from tracker.session import read_session
from tracker.video import ClipWriter, inspect


def test_a_looped_clip_plays_on_without_a_gap(tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    with ClipWriter(tmp_path / "one.mp4", (320, 180), 60) as writer:
        for _ in range(20):
            writer.write_bgr(random.integers(0, 255, (180, 320, 3), np.uint8))
    looped(tmp_path / "one.mp4", 3, tmp_path / "three.mp4")
    facts = inspect(tmp_path / "three.mp4")
    assert facts.frame_count == 60
    assert np.allclose(np.diff(facts.file_times_s), 1 / 60, atol=1e-3)
    assert facts.missing_bytes == 0


def test_a_film_has_the_length_that_was_asked_for(tmp_path: Path) -> None:
    film(tmp_path / "lane", 6.0, fps=10.0)
    (clip,) = read_session(tmp_path / "lane").clips
    facts = inspect(clip.path)
    assert (facts.frame_count, facts.size_px) == (60, (320, 180))
