"""Frames in order with true times."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from av.video.frame import VideoFrame

from calibration.errors import InputError
from tracker.video.decoding import Damage, Span, decoded, film, indexed, within
from tracker.video.facts import ClipFacts
from tracker.video.listing import open_clip
from tracker.video.pixels import Image, blueness, colour, luma
from tracker.video.shown import Shown


@dataclass(frozen=True)
class Frame:
    """One frame as shown.

    Attributes
    ----------
    index : int
        Place among the frames that the file lists.
    time_s : float
        True seconds from the clip's first frame.
    luma : ndarray of uint8, shape (height, width)
        Read-only; rotated as the file asks.
    blueness : ndarray of uint8, shape (height / 2, width / 2), or None
        Blue difference (Cb), read-only: a yellow ball stands out in it where a bright sky
        hides it in the luma. None where the file does not hold it at half size.
    suspect : bool
        True when the picture may be damaged: something was lost since the last key frame.
    shown : Shown
        The frame in colour, which holds the decoder's memory of it.
    """

    index: int
    time_s: float
    luma: Image
    blueness: Image | None
    suspect: bool
    shown: Shown


def frames(
    facts: ClipFacts,
    *,
    on_note: Callable[[str], None] | None = None,
    span: Span | None = None,
) -> Iterator[Frame]:
    """Decode a clip once, from its first frame to its last.

    Parameters
    ----------
    facts : ClipFacts
        From `inspect`.
    on_note : callable, optional
        Called once at the end with a sentence for each kind of loss, where all were read.
    span : tuple of int, optional
        First and last index of the only frames that are wanted; the clip's first frame, which
        shows where the camera stood, comes all the same.

    Yields
    ------
    Frame
        Its luma is the decoder's own memory where the picture needs no turning: hold as few
        frames as possible, and never write into one.

    Raises
    ------
    InputError
        When the size of the picture changes, or no frame at all can be decoded.
    """
    damage = Damage(facts)
    true_times = facts.times_s
    read = _all(facts, damage) if span is None else within(facts, span)
    for index, frame, suspect in read:
        yield Frame(
            index=index,
            time_s=float(true_times[index]),
            luma=luma(frame, facts.rotation_deg, facts.size_px),
            blueness=blueness(frame, facts.rotation_deg, facts.size_px),
            suspect=suspect,
            shown=Shown(frame, facts.rotation_deg, facts.size_px),
        )
    if span is not None:
        return
    if not damage.seen.any():
        raise InputError("not one frame of the video can be decoded", where=str(facts.path))
    if on_note is not None:
        for sentence in damage.sentences():
            on_note(sentence)


def _all(facts: ClipFacts, damage: Damage) -> Iterator[tuple[int, VideoFrame, bool]]:
    with open_clip(facts.path) as container:
        yield from indexed(container, film(container, facts), damage)


def colour_frames(facts: ClipFacts) -> Iterator[tuple[int, Image]]:
    """Decode a clip once in colour.

    Yields
    ------
    tuple
        Index of the frame, and the frame as shown: blue, green, red, shape (height, width, 3).
    """
    with open_clip(facts.path) as container:
        stream = film(container, facts)
        for index, frame, _ in indexed(container, stream, Damage(facts)):
            yield index, colour(frame, facts.rotation_deg, facts.size_px)


def decode_only(facts: ClipFacts) -> float:
    """Return the seconds that it takes to decode the clip with its pixels untouched."""
    began = time.perf_counter()
    with open_clip(facts.path) as container:
        for _ in decoded(container, film(container, facts), Damage(facts)):
            pass
    return time.perf_counter() - began
