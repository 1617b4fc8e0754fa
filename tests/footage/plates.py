"""The footage that nobody here made: where it lies, and its frames as arrays."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.tracker.barcode_clips import FOOTAGE
from tracker.synthetic.clip import FilmRoll
from tracker.synthetic.draw import draw_session
from tracker.synthetic.recipes import WIDE, without_shots
from tracker.video import ClipWriter, frames, inspect

needs_footage = pytest.mark.skipif(
    not FOOTAGE.is_dir(),
    reason=f"the real footage is not part of the project and does not lie at {FOOTAGE}",
)

OWN = "a field that we drew"

FIELD_AND_SKY = (
    "V_AIRPLANE_051.mp4",
    "V_BIRD_003.mp4",
    "V_BIRD_020.mp4",
    "V_BIRD_044.mp4",
    "V_DRONE_002.mp4",
    "V_DRONE_034.mp4",
    "V_DRONE_048.mp4",
    "V_DRONE_084.mp4",
)
"""Static camera, one small flying thing; 640 by 512 at 30 frames a second."""

WITHOUT_A_SHOT = (
    *FIELD_AND_SKY,
    "people_on_lawn_10fps.avi",
    "swaying_tree_lying_header.avi",
    # The football flies free between two kicks, for about half a second, and never starts at a
    # release point that was taped beforehand: no shot of a launcher.
    "football_juggle_24fps_thinned.mp4",
    "phone_slow_motion_240.mp4",
    "phone_portrait_4k60.mp4",
    "fragmented.mp4",
    "rotation_in_track_name.mkv",
)


def path_of(name: str) -> Path:
    """Return where a clip of the footage lies."""
    return FOOTAGE / name


def planes(name: str, count: int, first: int = 0) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield luma and blue difference of frames of a clip, or of a field that we drew ourselves.

    The planes are copies. `OWN` is drawn by `tracker.synthetic` in the plates' size.
    """
    if name == OWN:
        yield from _drawn(count)
        return
    for frame in frames(inspect(FOOTAGE / name)):
        if frame.index >= first + count:
            return
        if frame.index >= first:
            assert frame.blueness is not None
            yield frame.luma.copy(), frame.blueness.copy()


def excerpt(name: str, folder: Path, seconds: float, first_s: float = 0.0) -> Path:
    """Write some seconds of a clip as a clip of its own, all but without loss."""
    facts = inspect(FOOTAGE / name)
    fps = facts.file_fps
    path = folder / f"{Path(name).stem}.mp4"
    with ClipWriter(path, facts.size_px, round(fps, 3), crf=8, preset="ultrafast") as writer:
        for luma, cb in planes(name, round(seconds * fps), round(first_s * fps)):
            writer.write_luma_chroma(luma, cb)
    return path


def _drawn(count: int) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    recipe = without_shots(WIDE)
    filming = replace(recipe.filming, size_px=(640, 512), fps=30.0)
    take = draw_session(replace(recipe, filming=filming), 5).clips[0].take
    for luma, cb, _ in FilmRoll(replace(take, frame_count=count)).frames():
        yield np.clip(np.rint(luma), 0, 255), np.clip(np.rint(cb), 0, 255)
