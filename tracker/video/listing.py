"""The frames that a clip lists, read from its packets without decoding them."""

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.container import InputContainer
from av.error import FFmpegError, InvalidDataError
from av.stream import Disposition
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from calibration.errors import InputError

STILLS = ("image2", "_pipe", "gif", "apng", "ico")
"""Names, or ends of names, of formats that hold pictures and no film."""

TEXTS = ("tty", "srt", "ass", "webvtt", "microdvd", "subviewer")
"""Formats that the library sees in plain text."""


@dataclass(frozen=True)
class Listing:
    """Every frame that the file lists for showing, in order of presentation.

    Attributes
    ----------
    stream_index : int
        The track among the file's tracks.
    ticks : ndarray of int64, shape (N,)
        Presentation times in ticks.
    tick_s : Fraction
        Seconds per tick.
    start_ticks : int
        The track's start; times are counted from there.
    keys : ndarray of bool, shape (N,)
        True where decoding can start.
    groups : ndarray of int64, shape (N,)
        Number of key frames that come, in order of decoding, up to and with each frame.
    by_order : bool
        True when the frames carry no presentation times and are known by their order only.
    hidden : int
        Frames that the file keeps but asks not to show.
    empty : int
        Entries of the file that hold no picture.
    """

    stream_index: int
    ticks: NDArray[np.int64]
    tick_s: Fraction
    start_ticks: int
    keys: NDArray[np.bool_]
    groups: NDArray[np.int64]
    by_order: bool = False
    hidden: int = 0
    empty: int = 0

    def times_s(self) -> NDArray[np.float64]:
        """Return the presentation times less the track's start, shape (N,), in s."""
        from_start = (self.ticks - self.start_ticks).astype(float)
        return from_start * self.tick_s.numerator / self.tick_s.denominator

    def index_by_ticks(self) -> dict[int, int]:
        """Return the place in the listing of each presentation time."""
        return {int(tick): index for index, tick in enumerate(self.ticks)}


@dataclass
class Packets:
    """What the pass over the packets gathers."""

    ticks: list[int] = field(default_factory=list)
    order_ticks: list[int] = field(default_factory=list)
    keys: list[bool] = field(default_factory=list)
    without_time: int = 0
    hidden: int = 0
    empty: int = 0


def open_clip(path: Path) -> InputContainer:
    """Open a clip for reading.

    Raises
    ------
    InputError
        When the file is missing, is a folder, may not be read, or is not a video.
    """
    where = str(path)
    if path.is_dir():
        raise InputError("this is a folder, not a video file", where=where)
    if not path.exists():
        raise InputError("there is no such file", where=where, remedy="check its name and folder")
    try:
        if path.stat().st_size == 0:
            raise InputError("the file is empty", where=where, remedy="copy it again")
        container = av.open(str(path), metadata_errors="replace")
    except InvalidDataError as error:
        raise InputError(
            "this is not a video, or it is damaged beyond reading: its table of frames cannot "
            "be found",
            where=where,
            remedy="copy the file again; a recording that was broken off has no such table",
        ) from error
    except (FFmpegError, OSError) as error:
        why = error.strerror or str(error)
        raise InputError(f"the file cannot be read ({why})", where=where) from error
    name = container.format.name
    if name.endswith(STILLS) or any(text in name.split(",") for text in TEXTS):
        container.close()
        kind = "a still picture" if name.endswith(STILLS) else "a text"
        raise InputError(f"this is {kind}, not a video", where=where)
    return container


def choose_stream(container: InputContainer, path: Path) -> VideoStream:
    """Return the track that a player would show; raise `InputError` when there is none."""
    films = [s for s in container.streams.video if not _is_cover(s)]
    if not films:
        raise InputError("the file holds no video track", where=str(path))
    marked = [stream for stream in films if stream.disposition & Disposition.default]
    return (marked or films)[0]


def first_frame_and_listing(
    container: InputContainer, stream: VideoStream, path: Path
) -> tuple[VideoFrame, Listing]:
    """Walk over all packets, decoding only until the first picture comes.

    Raises
    ------
    InputError
        When the file lists no frame, or when no frame at all can be decoded.
    """
    gathered = Packets()
    frame: VideoFrame | None = None
    try:
        for packet in container.demux(stream):
            if packet.size == 0 and packet.pts is None and packet.dts is None:
                frame = frame or _try_decode(packet)
                continue
            if packet.size == 0:
                gathered.empty += 1
                continue
            if frame is None:
                frame = _try_decode(packet)
            _gather(gathered, packet)
    except FFmpegError:
        # A file that ends in rubbish still holds what came before it.
        pass
    where = str(path)
    if not gathered.keys:
        raise InputError("the video track holds no frames", where=where)
    if frame is None:
        raise InputError(
            "not one frame of the video can be decoded", where=where, remedy="copy the file again"
        )
    return frame, _listing(gathered, stream, path)


def _is_cover(stream: VideoStream) -> bool:
    """Return whether the track is a still picture that goes with the film."""
    return bool(stream.disposition & Disposition.attached_pic)


def _try_decode(packet: Any) -> VideoFrame | None:
    """Return the first frame that the packet gives, if any."""
    try:
        decoded = packet.decode()
    except FFmpegError:
        return None
    return decoded[0] if decoded else None


def _gather(gathered: Packets, packet: Any) -> None:
    """Note one packet that holds a picture."""
    if packet.is_discard:
        gathered.hidden += 1
        return
    if packet.pts is None:
        gathered.without_time += 1
    else:
        gathered.ticks.append(packet.pts)
    order = packet.dts if packet.dts is not None else packet.pts
    if order is not None:
        gathered.order_ticks.append(order)
    gathered.keys.append(packet.is_keyframe)


def _times_are_made_up(gathered: Packets, stream: VideoStream) -> bool:
    """Return whether times rise from packet to packet though the codec shows them in another order.

    An AVI holds no times of showing; the library makes them from the order of storing, which
    is wrong as soon as frames are stored out of order.
    """
    in_order = all(a < b for a, b in pairwise(gathered.ticks))
    return in_order and bool(stream.codec_context.has_b_frames) and _format(stream) == "avi"


def _format(stream: VideoStream) -> str:
    """Return the short name of the container's format."""
    return str(stream.container.format.name)


def _listing(gathered: Packets, stream: VideoStream, path: Path) -> Listing:
    """Put the gathered packets in order of presentation."""
    by_order = gathered.without_time > 0 or _times_are_made_up(gathered, stream)
    ticks = np.array(gathered.order_ticks if by_order else gathered.ticks, dtype=np.int64)
    if len(ticks) != len(gathered.keys):
        raise InputError(
            "the file gives its frames no times",
            where=str(path),
            remedy="use the file that the camera wrote, or put it into an MP4 without re-encoding",
        )
    groups = np.cumsum(np.array(gathered.keys, dtype=np.int64))
    ordered, first = np.unique(ticks, return_index=True)
    start = None if by_order else stream.start_time
    return Listing(
        stream_index=stream.index,
        ticks=ordered,
        tick_s=Fraction(stream.time_base or Fraction(1, 1000)),
        start_ticks=int(ordered[0]) if start is None else int(start),
        keys=np.array(gathered.keys, dtype=bool)[first],
        groups=groups[first],
        by_order=by_order,
        hidden=gathered.hidden,
        empty=gathered.empty,
    )
