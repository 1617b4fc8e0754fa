"""Single pictures of a clip, in colour, by exact index."""

from collections.abc import Callable, Iterable
from typing import TypeVar

import numpy as np
from av.container import InputContainer
from av.error import FFmpegError
from av.video.stream import VideoStream

from calibration.errors import InputError
from tracker.video.decoding import Damage, film, indexed
from tracker.video.facts import ClipFacts
from tracker.video.listing import open_clip
from tracker.video.pixels import Image
from tracker.video.shown import Shown

Taken = TypeVar("Taken")

GREY = 128
"""Level of a picture that stands in for one that cannot be decoded: the middle of 0 to 255."""


def picture(facts: ClipFacts, index: int) -> Image:
    """Return one frame as shown, in blue, green, red, shape (height, width, 3).

    Raises
    ------
    InputError
        When the clip has no such frame, or the frame cannot be decoded.
    """
    return pictures(facts, [index])[index]


def pictures(facts: ClipFacts, indices: Iterable[int]) -> dict[int, Image]:
    """Return several frames as shown, by index, in one pass.

    Raises
    ------
    InputError
        When the clip has no such frame, or one of them cannot be decoded.
    """
    wanted = sorted({int(index) for index in indices})
    found = from_pictures(facts, wanted, lambda _, image: image)
    missing = [index for index in wanted if index not in found]
    if missing:
        raise InputError(
            f"frame {missing[0]} cannot be decoded", where=str(facts.path), remedy="choose another"
        )
    return found


def first_picture(facts: ClipFacts) -> Image:
    """Return the first frame of a clip that can be decoded, plain grey where none can."""
    tried = sorted({0, facts.frame_count // 2, facts.frame_count - 1})
    for indices in (tried[:1], tried[1:]):
        found = from_pictures(facts, indices, lambda _, image: image)
        if found:
            return found[min(found)]
    width, height = facts.size_px
    return np.full((height, width, 3), GREY, np.uint8)


def from_pictures(
    facts: ClipFacts, indices: Iterable[int], take: Callable[[int, Image], Taken]
) -> dict[int, Taken]:
    """Return what `take` makes of each of several frames, by index, in one pass.

    As `from_frames`, with the picture of each as from `picture`.
    """
    return from_frames(facts, indices, lambda index, shown: take(index, shown.whole()))


def from_frames(
    facts: ClipFacts, indices: Iterable[int], take: Callable[[int, Shown], Taken]
) -> dict[int, Taken]:
    """Return what `take` makes of each of several frames, by index, in one pass.

    Only one frame is held at a time, so that many can be looked at in little memory.

    Parameters
    ----------
    facts : ClipFacts
    indices : iterable of int
    take : callable
        Given a frame's index and the frame, whose colours are made where it asks for them.

    Returns
    -------
    dict
        Without the frames that cannot be decoded.

    Raises
    ------
    InputError
        When the clip has no such frame.
    """
    wanted = sorted({int(index) for index in indices})
    for index in wanted:
        if not 0 <= index < facts.frame_count:
            raise InputError(
                f"there is no frame {index}",
                where=str(facts.path),
                remedy=f"the clip's frames are numbered 0 to {facts.frame_count - 1}",
            )
    found: dict[int, Taken] = {}
    with open_clip(facts.path) as container:
        stream = film(container, facts)
        for run in _runs(facts, wanted):
            found.update(_sought(container, stream, facts, run, take))
    missing = [index for index in wanted if index not in found]
    if missing:
        # The index of some files leads astray, or they have none: read from the beginning.
        with open_clip(facts.path) as container:
            stream = film(container, facts)
            found.update(_from_here(container, stream, facts, missing, take))
    return found


def _runs(facts: ClipFacts, wanted: list[int]) -> list[list[int]]:
    """Part the wanted frames into runs, each read from one key frame on."""
    keys = np.flatnonzero(facts.listing.keys)
    runs: list[list[int]] = []
    for index in wanted:
        key = np.searchsorted(keys, index, side="right")
        if runs and np.searchsorted(keys, runs[-1][-1], side="right") == key:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs


def _sought(
    container: InputContainer,
    stream: VideoStream,
    facts: ClipFacts,
    run: list[int],
    take: Callable[[int, Shown], Taken],
) -> dict[int, Taken]:
    """Take the frames of one run, starting from the nearest key frame that leads to them."""
    if facts.listing.by_order:
        return {}
    for key in np.flatnonzero(facts.listing.keys[: run[0] + 1])[::-1][:3]:
        try:
            container.seek(int(facts.listing.ticks[key]), stream=stream, backward=True)
        except FFmpegError:
            return {}
        found = _from_here(container, stream, facts, run, take)
        if len(found) == len(run):
            return found
    return {}


def _from_here(
    container: InputContainer,
    stream: VideoStream,
    facts: ClipFacts,
    run: list[int],
    take: Callable[[int, Shown], Taken],
) -> dict[int, Taken]:
    """Decode on from where the container stands until the last frame of a run has come."""
    found: dict[int, Taken] = {}
    wanted = set(run)
    reached = False
    for index, frame, _ in indexed(container, stream, Damage(facts)):
        if index > run[0] and not reached:
            # The file's index led past the frame that was asked for.
            break
        reached = True
        if index in wanted:
            found[index] = take(index, Shown(frame, facts.rotation_deg, facts.size_px))
        if index >= run[-1]:
            break
    return found
