"""The frames behind each shot, gathered from its clip and drawn."""

from collections.abc import Sequence

import numpy as np

from tracker.records import MeasuredShot
from tracker.report.composite import BallPatch, Image, cut
from tracker.report.scene import Markers
from tracker.report.shot_picture import ShotFrames, shot_picture
from tracker.video import ClipFacts, from_pictures

HALF_PATCH_PX = 14
"""Half the side of a close-up in a frame 1920 pixels wide; a matter of looks."""


def draw_shots(facts: ClipFacts, markers: Markers, shots: Sequence[MeasuredShot]) -> list[bytes]:
    """Return one picture, a JPEG file, of every shot of a clip.

    Parameters
    ----------
    facts : ClipFacts
        Of the clip, which is decoded once more.
    markers : sequence of (str, (float, float))
        Name and pixel of each.
    shots : sequence of MeasuredShot
    """
    drawn = []
    for measured in shots:
        frame, patches = gather(facts, measured)
        drawn.append(shot_picture(measured, ShotFrames(frame, patches, tuple(markers))))
    return drawn


def gather(facts: ClipFacts, measured: MeasuredShot) -> tuple[Image, tuple[BallPatch, ...]]:
    """Return one whole frame of a shot and a patch of every frame with a place in it.

    Where every frame of the shot is damaged the whole frame is grey.
    """
    half = round(HALF_PATCH_PX * max(1.0, max(facts.size_px) / 1920))
    by_frame = {point.frame: (point.column_px, point.row_px) for point in measured.points}
    whole: list[Image] = []

    def take(index: int, image: Image) -> BallPatch | None:
        if not whole:
            whole.append(image)
        return cut(index, image, by_frame[index], half)

    found = from_pictures(facts, by_frame, take)
    if not whole:
        width, height = facts.size_px
        whole.append(np.full((height, width, 3), 128, np.uint8))
    return whole[0], tuple(patch for patch in found.values() if patch is not None)
