"""Clips: frames with their true times. The only door to the decoder and the encoder."""

from tracker.video.ahead import ahead, begun, frames_ahead, work_in_one_thread
from tracker.video.change import ChangeMeter
from tracker.video.facts import ClipFacts, inspect
from tracker.video.pictures import first_picture, from_frames, from_pictures, picture, pictures
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
