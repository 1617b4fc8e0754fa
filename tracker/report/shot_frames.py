"""Reads the frames of each shot from its clip and draws its picture."""

from collections.abc import Sequence

import numpy as np

from tracker.records import MeasuredShot
from tracker.report.composite import Image, Patch, cut
from tracker.report.shot_picture import Seen, shot_picture
from tracker.video import ClipFacts, from_pictures

HALF_PATCH_PX = 14
"""Half the side of a close-up in a frame 1920 pixels wide, px. Chosen to show a ball of 4 px with
its surroundings."""


def draw_shots(
    facts: ClipFacts,
    markers: tuple[tuple[str, tuple[float, float]], ...],
    shots: Sequence[MeasuredShot],
) -> list[bytes]:
    """Return one picture, a JPEG file, of every shot of a clip.

    Parameters
    ----------
    facts : ClipFacts
    markers : tuple of (str, (float, float))
        Each marker's name and its pixel.
    shots : sequence of MeasuredShot
    """
    drawn = []
    for measured in shots:
        frame, patches = _gather(facts, measured)
        drawn.append(shot_picture(measured, Seen(frame, patches, markers)))
    return drawn


def _gather(facts: ClipFacts, measured: MeasuredShot) -> tuple[Image, tuple[Patch, ...]]:
    """Return one whole frame of a shot and a patch of every frame with a place in it."""
    half = round(HALF_PATCH_PX * max(1.0, max(facts.size_px) / 1920))
    by_frame = {point.frame: (point.column_px, point.row_px) for point in measured.points}
    whole: list[Image] = []

    def take(index: int, image: Image) -> Patch | None:
        if not whole:
            whole.append(image)
        return cut(index, image, by_frame[index], half)

    found = from_pictures(facts, by_frame, take)
    if not whole:
        # Every frame of the shot is damaged: its figures are still worth a sheet.
        width, height = facts.size_px
        whole.append(np.full((height, width, 3), 128, np.uint8))
    return whole[0], tuple(patch for patch in found.values() if patch is not None)
