"""Clips: frames with their true times. The only door to the decoder and the encoder."""

from typing import TYPE_CHECKING

from calibration.later import later
from tracker.video.ahead import ahead, begun, frames_ahead, work_in_one_thread
from tracker.video.facts import ClipFacts, inspect
from tracker.video.pictures import first_picture, from_frames, from_pictures, picture, pictures

if TYPE_CHECKING:
    from tracker.video.change import ChangeMeter
    from tracker.video.reading import Frame, colour_frames, decode_only, frames
    from tracker.video.shown import Shown, colours_within
    from tracker.video.stills import Lumas
    from tracker.video.writing import ClipStyle, ClipWriter

__all__ = [
    "ChangeMeter",
    "ClipFacts",
    "ClipStyle",
    "ClipWriter",
    "Frame",
    "Lumas",
    "Shown",
    "ahead",
    "begun",
    "colour_frames",
    "colours_within",
    "decode_only",
    "first_picture",
    "frames",
    "frames_ahead",
    "from_frames",
    "from_pictures",
    "inspect",
    "picture",
    "pictures",
    "work_in_one_thread",
]

__getattr__ = later(
    __name__,
    {
        "change": "ChangeMeter",
        "reading": "Frame colour_frames decode_only frames",
        "shown": "Shown colours_within",
        "stills": "Lumas",
        "writing": "ClipStyle ClipWriter",
    },
)
