"""The frames that a clip lists, read from its packets without decoding them."""

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.container import InputContainer
from av.error import ArgumentError, FFmpegError, InvalidDataError
from av.error import EOFError as EndOfFile
from av.stream import Disposition
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from calibration.errors import InputError, meant

CONTAINERS = ("mov", "mp4", "matroska", "webm", "avi", "mpegts", "mpeg", "asf", "flv", "ogg", "mxf")
"""The demuxers that are used: containers that hold their own film. None of them follows the names
of other files, as playlists and lists of clips do."""

ONLY_LOCAL = {"protocol_whitelist": "file", "format_whitelist": ",".join(CONTAINERS)}

STILLS = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"BM", b"II*\0", b"MM\0*")
"""First bytes of JPEG, PNG, GIF, BMP and TIFF pictures (their specifications)."""

HEAD_BYTES = 512
"""Bytes that decide whether a file is a text; a cut character at their end is allowed for."""

SMALLEST_SIDE_PX, LARGEST_SIDE_PX = 16, 8192
"""Sides of a frame, px: one macroblock of H.264, and above 8K. Larger claims cost memory only."""


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

    def index_of(self, tick: int | None) -> int:
        """Return the place in the listing of a presentation time, -1 where it is not listed.

        Found by halving: a dictionary would take a hundred bytes of every frame.
        """
        if tick is None:
            return -1
        index = int(self.ticks.searchsorted(tick, side="right")) - 1
        return index if index >= 0 and self.ticks[index] == tick else -1


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
    try:
        if path.is_dir():
            raise InputError("this is a folder, not a video file", where=where)
        if not path.exists():
            remedy = meant(path, "check its name and folder")
            raise InputError("there is no such file", where=where, remedy=remedy)
        if path.stat().st_size == 0:
            raise InputError("the file is empty", where=where, remedy="copy it again")
        # The scheme keeps a name with a colon from being taken for an address.
        container = av.open(f"file:{path}", options=ONLY_LOCAL, metadata_errors="replace")
    except (InvalidDataError, ArgumentError, EndOfFile) as error:
        kind = _kind(path)
        if kind:
            raise InputError(
                f"this is {kind}, not a video",
                where=where,
                remedy="give the film that the phone made, MP4 or MOV for instance",
            ) from error
        if isinstance(error, ArgumentError):
            raise InputError(
                "this kind of file is not read",
                where=where,
                remedy="give an MP4, MOV, MKV, WebM, AVI, MPEG, WMV, FLV, OGG or MXF file",
            ) from error
        raise InputError(
            "this is not a video, or it is damaged beyond reading: its table of frames cannot "
            "be found",
            where=where,
            remedy="copy the file again; a recording that was broken off has no such table",
        ) from error
    except (FFmpegError, OSError) as error:
        why = error.strerror or str(error)
        raise InputError(f"the file cannot be read ({why})", where=where) from error
    return container


def _kind(path: Path) -> str:
    """Return what a file is that is no container of video: a still picture, a text, or empty."""
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if head.startswith(STILLS):
        return "a still picture"
    try:
        text = head[:-3].decode("utf-8") if len(head) == HEAD_BYTES else head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 6:
            return ""
        text = head[: error.start].decode("utf-8")
    return "a text" if all(c.isprintable() or c.isspace() for c in text) else ""


def choose_stream(container: InputContainer, path: Path) -> VideoStream:
    """Return the track that a player would show; raise `InputError` when there is none."""
    # A track of a coding that FFmpeg does not know has no size and cannot be decoded.
    films = [s for s in container.streams.video if s.codec_context and not _is_cover(s)]
    if not films:
        raise InputError("the file holds no video track that can be read", where=str(path))
    marked = [stream for stream in films if stream.disposition & Disposition.default]
    chosen = (marked or films)[0]
    refuse_size((chosen.width, chosen.height), path)
    return chosen


def refuse_size(size_px: tuple[int, int], path: Path) -> None:
    """Raise `InputError` for frames that are too small to measure in, or larger than any film.

    A width or height of zero stands for a size that the file does not state.
    """
    small, large = min(size_px), max(size_px)
    if 0 < small < SMALLEST_SIDE_PX or large > LARGEST_SIDE_PX:
        raise InputError(
            f"the frames have {size_px[0]} x {size_px[1]} pixels",
            where=str(path),
            remedy=f"give a clip of {SMALLEST_SIDE_PX} to {LARGEST_SIDE_PX} pixels on either side",
        )


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
