"""Notes on a clip's file."""

import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from av.video.frame import VideoFrame

from calibration.adjustment.robust import middle
from tracker.video.listing import Listing
from tracker.video.pixels import is_mirrored

READOUT_TAG = "com.apple.quicktime.camera.framereadouttimeinmicroseconds"
"""Tag in which some phones state how long a frame's rows take (from memory)."""

LONGEST_READOUT_S = 1.0
"""A tag that states more is not a readout: rolling shutters take 5 to 60 ms (common practice)."""

_HIGH_DYNAMIC_RANGE = {16: "PQ", 18: "HLG"}
"""Transfer characteristics, ITU-T H.273 table 3."""

_HINT = re.compile(r"rot\w*[-_ ]?0*(90|180|270)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Header:
    """What the file's header claims.

    Attributes
    ----------
    counted : int
        Frames that the header counts; 0 when it does not.
    films : int
        Video tracks in the file.
    tags : dict
        Tags of the track and of the file.
    aspect, coded_aspect : Fraction or None
        Width of a pixel by its height, as the container and as the coded picture state it.
    missing_bytes : int
        How much longer the file's last box says it is than the file.
    """

    counted: int
    films: int
    tags: dict[str, str]
    aspect: Fraction
    coded_aspect: Fraction | None
    missing_bytes: int


def gather(
    header: Header, listing: Listing, frame: VideoFrame, rotation_deg: int
) -> tuple[str, ...]:
    """Return the notes as sentences, the most important first."""
    found = [
        *_about_length(header, listing),
        *_about_times(listing),
        *_about_shape(header, frame, rotation_deg),
        *_about_light(frame),
        *_about_tags(header),
    ]
    return tuple(found)


def missing_bytes(path: Path) -> int:
    """Return how many bytes the boxes of an MP4 or MOV reach beyond the end of the file.

    Source: ISO/IEC 14496-12, 4.2 (box sizes).
    """
    length = path.stat().st_size
    with path.open("rb") as file:
        at = 0
        while at + 8 <= length:
            file.seek(at)
            head = file.read(16)
            size = int.from_bytes(head[:4], "big")
            if not head[4:8].isalnum() or (at == 0 and head[4:8] not in _FIRST_BOXES):
                return 0
            if size == 1:
                size = int.from_bytes(head[8:16], "big")
            if size == 0:
                return 0
            if size < 8:
                return 0
            at += size
    return max(0, at - length)


_FIRST_BOXES = (b"ftyp", b"wide", b"mdat", b"moov", b"free", b"skip", b"styp")


def missing_frames(header: Header, listing: Listing) -> int | None:
    """Return how many frames the header counts and the file lacks; None where it counts none."""
    if not header.counted:
        return None
    return max(0, header.counted - len(listing.ticks) - listing.hidden - listing.empty)


def _about_length(header: Header, listing: Listing) -> list[str]:
    found = []
    listed = len(listing.ticks)
    if header.missing_bytes:
        found.append(
            f"The file is cut off: {header.missing_bytes} bytes that it announces are missing"
            + (", but none of its frames" if missing_frames(header, listing) == 0 else "")
            + ". What is there is used; copy the file again if it was whole."
        )
    there = listed + listing.hidden
    if header.counted and header.counted != there:
        found.append(
            f"The header counts {header.counted} frames, but {there} are there; the header is "
            "not used."
        )
    if listing.hidden:
        found.append(
            f"The file asks not to show {listing.hidden} of its frames (it was trimmed); they are "
            "not counted."
        )
    if header.films > 1:
        found.append(f"The file holds {header.films} video tracks; only one is read.")
    return found


def _about_times(listing: Listing) -> list[str]:
    if listing.by_order:
        return [
            "The file gives its frames an order but no times of showing; an even rate is taken "
            "from its header."
        ]
    steps = np.diff(listing.times_s()) * 1000.0
    usual = middle(steps)
    tick_ms = float(listing.tick_s) * 1000.0
    if np.ptp(steps) <= max(0.03 * usual, 1.01 * tick_ms):
        return []
    return [
        f"The frames do not come evenly: {steps.min():.4g} to {steps.max():.4g} ms apart, "
        f"mostly {usual:.4g} ms. Each frame's own time is used."
    ]


def _about_shape(header: Header, frame: VideoFrame, rotation_deg: int) -> list[str]:
    found = []
    if header.aspect != 1:
        found.append(
            f"The pixels are stored {float(header.aspect):.4g} times as wide as high; the picture "
            "is stretched to the shape in which it is shown."
        )
    if header.coded_aspect and header.coded_aspect != header.aspect:
        found.append(
            f"The coded picture says that its pixels are {float(header.coded_aspect):.4g} times as "
            f"wide as high, the container {float(header.aspect):.4g}; the container is used, "
            "as players do. If the picture looks squeezed, the clip was converted badly."
        )
    found += _about_flag(frame)
    hint = next((m for m in map(_HINT.search, header.tags.values()) if m), None)
    if hint and rotation_deg == 0:
        found.append(
            f"A name in the file mentions a rotation ({hint.string}), but no rotation flag is "
            "set; the picture is shown as it is stored."
        )
    if frame.interlaced_frame:
        found.append(
            "The clip is interlaced: each frame holds two moments, in its even and odd rows. Only "
            "the even rows are measured; a progressive setting shows a ball twice as sharply."
        )
    return found


def _about_flag(frame: VideoFrame) -> list[str]:
    """Say when the file asks for more than a quarter turn can do."""
    if is_mirrored(frame):
        return [
            "The file asks for a mirrored picture. It is shown as it was filmed, so that left and "
            "right stay what they were; other players may show it the other way round."
        ]
    if frame.rotation % 90:
        return [
            f"The file asks to be turned by {frame.rotation} degrees; the nearest quarter turn "
            "is used."
        ]
    return []


def _about_light(frame: VideoFrame) -> list[str]:
    curve = _HIGH_DYNAMIC_RANGE.get(int(frame.color_trc))
    if curve is None:
        return []
    return [
        f"The clip is high dynamic range ({curve}): its brightness follows another curve than "
        "ordinary video. Positions and times are not affected."
    ]


def _about_tags(header: Header) -> list[str]:
    try:
        readout = float(header.tags[READOUT_TAG]) * 1e-6
    except (KeyError, ValueError):
        return []
    if not 0.0 < readout < LONGEST_READOUT_S:
        return []
    return [
        f"The camera says that it reads a frame in {readout * 1000:.3g} ms; if the session states "
        f"nothing else, write readout_s = {readout:.6g} under [camera]."
    ]
