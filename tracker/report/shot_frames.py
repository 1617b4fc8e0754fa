"""The frames behind each shot, gathered from its clip and drawn."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from types import MappingProxyType

import numpy as np

from tracker.measurement.close_ups import shown_every
from tracker.records import MeasuredShot
from tracker.report.composite import BallPatch, Image, around
from tracker.report.scene import Markers
from tracker.report.shot_picture import ShotFrames, shot_picture
from tracker.video import ClipFacts, Shown, ahead, from_frames

HALF_PATCH_PX = 14
"""Half the side of a close-up in a frame 1920 pixels wide; a matter of looks."""

GREY = 128
"""Level of a frame that stands for one that is damaged: the middle of 0 to 255."""

LEAST_SHOWN = 24
"""Places that are shown of a shot before others are left out: twice a row of close-ups."""

TOGETHER_BYTES = 60_000_000
"""Memory that the whole frames of shots read together may take: ten at 1080p, two at 4K."""


Place = tuple[float, float]
Kept = Mapping[tuple[int, float, float], tuple[tuple[int, int], Image]]
"""By frame, column and row of a place: first column and row of its close-up, and its pixels."""


NOTHING_KEPT: Kept = MappingProxyType({})


def half_patch_px(facts: ClipFacts) -> int:
    """Return half the side of a close-up in a clip's frames."""
    return round(HALF_PATCH_PX * max(1.0, max(facts.size_px) / 1920))


def draw_shots(
    facts: ClipFacts,
    markers: Markers,
    shots: Sequence[MeasuredShot],
    kept: Kept = NOTHING_KEPT,
    still: bool = False,
) -> list[bytes]:
    """Return one picture, a JPEG file, of every shot of a clip.

    Parameters
    ----------
    facts : ClipFacts
        Of the clip, which is decoded once more, while earlier shots are drawn.
    markers : sequence of (str, (float, float))
        Name and pixel of each.
    shots : sequence of MeasuredShot
    kept : mapping
        Close-ups that were kept while the clip passed: these frames are not decoded again.
    still : bool
        Whether the camera stood still, so that any frame shows what is behind a shot.
    """
    runs = _together(facts, shots)
    groups = (each for together in runs for each in gather(facts, together, kept, still))
    with closing(ahead(groups, 1)) as gathered:
        return [
            shot_picture(measured, ShotFrames(frame, patches, tuple(markers)))
            for measured, (frame, patches) in zip(shots, gathered, strict=True)
        ]


def _together(facts: ClipFacts, shots: Sequence[MeasuredShot]) -> Iterator[list[MeasuredShot]]:
    """Part shots into runs that are read at once, since they need the same key frames."""
    most = max(1, TOGETHER_BYTES // (3 * facts.size_px[0] * facts.size_px[1]))
    keys = np.flatnonzero(facts.listing.keys)
    run: list[MeasuredShot] = []
    reached = -1
    for measured in shots:
        frames = [point.frame for point in measured.points] or [facts.frame_count]
        first, last = np.searchsorted(keys, [min(frames), max(frames)], side="right")
        if run and (first != reached or len(run) == most):
            yield run
            run = []
        run.append(measured)
        reached = int(last)
    if run:
        yield run


def gather(
    facts: ClipFacts,
    shots: Sequence[MeasuredShot],
    kept: Kept = NOTHING_KEPT,
    still: bool = False,
) -> list[tuple[Image, tuple[BallPatch, ...]]]:
    """Return for each shot one whole frame and a patch of every frame that is shown of it.

    The whole frame is the first of these, or where the camera stood still the key frame before it,
    which is decoded alone. Where every frame of a shot is damaged its whole frame is grey.
    """
    half = half_patch_px(facts)
    places = [_shown_places(facts, measured) for measured in shots]
    grounds = [_ground(facts, by_frame, still) for by_frame in places]
    whole: dict[int, Image] = {}
    patches: list[list[BallPatch]] = [[] for _ in shots]

    def take(index: int, shown: Shown) -> None:
        for number, by_frame in enumerate(places):
            if (index in by_frame or index == grounds[number]) and number not in whole:
                whole[number] = shown.whole()
            if index in by_frame:
                box = around(facts.size_px, by_frame[index], half)
                if box is not None:
                    patches[number].append(BallPatch(index, box[:2], shown.part(box)))

    held = [_held(by_frame, kept) for by_frame in places]
    needed = {ground for ground in grounds if ground is not None}
    for own, by_frame in zip(held, places, strict=True):
        needed |= by_frame.keys() - own.keys()
    from_frames(facts, needed, take)
    if any(number not in whole for number, by_frame in enumerate(places) if by_frame):
        # The first frame of one is damaged: take the next that is not.
        held = [{} for _ in places]
        whole.clear()
        patches = [[] for _ in shots]
        from_frames(facts, {index for by_frame in places for index in by_frame}, take)
    for own, found in zip(held, patches, strict=True):
        read = {patch.frame for patch in found}
        found += [patch for index, patch in own.items() if index not in read]
    width, height = facts.size_px
    for number in range(len(shots)):
        if number not in whole:
            whole[number] = np.full((height, width, 3), GREY, np.uint8)
    return [
        (whole[number], tuple(sorted(found, key=lambda patch: patch.frame)))
        for number, found in enumerate(patches)
    ]


def _shown_places(facts: ClipFacts, measured: MeasuredShot) -> dict[int, Place]:
    """Return by frame the places of a shot that are shown."""
    every = shown_every(facts.file_fps * facts.pace)
    places = {point.frame: (point.column_px, point.row_px) for point in measured.points}
    some = {frame: place for frame, place in places.items() if frame % every == 0}
    return some if len(some) >= LEAST_SHOWN else places


def _ground(facts: ClipFacts, by_frame: Mapping[int, Place], still: bool) -> int | None:
    """Return the frame that is shown as a whole, None of a shot without places."""
    if not by_frame:
        return None
    first = min(by_frame)
    keys = np.flatnonzero(facts.listing.keys[: first + 1])
    return int(keys[-1]) if still and len(keys) else first


def _held(by_frame: Mapping[int, Place], kept: Kept) -> dict[int, BallPatch]:
    """Return by frame the close-ups of a shot that were kept."""
    found: dict[int, BallPatch] = {}
    for index, (column, row) in by_frame.items():
        own = kept.get((index, column, row))
        if own is not None:
            found[index] = BallPatch(index, *own)
    return found
