"""Writing clips: real H.264 or HEVC files, with rotation flags, tags and times as phones write."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import av
import numpy as np
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from tracker.video.sound import SoundTrack

Plane = NDArray[np.uint8] | NDArray[np.uint16]

_THREADS = 2
"""Fixed, since the bytes that the encoder writes depend on it."""

_FINEST_TICKS = 90_000
"""Ticks a second in which times are written: the clock of MPEG systems (ISO/IEC 13818-1)."""


@dataclass(frozen=True)
class ClipStyle:
    """How a clip is stored.

    Attributes
    ----------
    codec : str
        The encoder: ``libx264``, ``libx265``, or another that the library has.
    crf : int
        Constant rate factor; lower is better and larger.
    preset : str
        The encoder's preset.
    pix_fmt : str
        Layout of the planes, for instance ``yuv420p`` or ``yuv420p10le``.
    rotation_deg : int
        Rotation flag: quarter turns counter-clockwise from the stored picture to the shown one.
    tags : mapping
        Tags of the file, for instance ``com.android.capture.fps``.
    file_fps : float or Fraction, optional
        Rate at which the file plays, when it plays slower or faster than life.
    pixel_aspect : Fraction
        Width of a stored pixel by its height.
    options : mapping
        More options of the encoder.
    container_options : mapping
        More options of the container.
    sound_from : Path, optional
        A clip whose sound goes along, in step with the file's own times.
    """

    codec: str = "libx264"
    crf: int = 23
    preset: str = "veryfast"
    pix_fmt: str = "yuv420p"
    rotation_deg: int = 0
    tags: Mapping[str, str] | None = None
    file_fps: float | Fraction | None = None
    pixel_aspect: Fraction = Fraction(1)
    options: Mapping[str, str] = field(default_factory=dict)
    container_options: Mapping[str, str] = field(default_factory=dict)
    sound_from: Path | None = None


class ClipWriter:
    """Writes one clip; use it in a ``with`` statement.

    The file appears under its name only when it is whole.

    Parameters
    ----------
    path : Path
        Its suffix chooses the container: ``.mp4``, ``.mov``, ``.mkv``, ``.avi``.
    size_px : tuple of int
        Width and height as stored, before the rotation flag.
    fps : float or Fraction
        True frames a second; a Fraction for a rate such as 30000/1001.
    **style
        Fields of `ClipStyle`.
    """

    def __init__(
        self, path: Path | str, size_px: tuple[int, int], fps: float | Fraction, **style: Any
    ) -> None:
        self.path = Path(path)
        self.size_px = size_px
        self.style = ClipStyle(**style)
        true_fps = Fraction(fps).limit_denominator(1001)
        file_fps = Fraction(self.style.file_fps or true_fps).limit_denominator(1001)
        self._pace = true_fps / file_fps
        self._step_s = 1 / true_fps
        # An AVI holds no times, only a rate, which it takes from the tick.
        finer = 1 if self.path.suffix.lower() == ".avi" else -(-_FINEST_TICKS // file_fps.numerator)
        self._tick_s = Fraction(
            file_fps.denominator if finer == 1 else 1, file_fps.numerator * finer
        )
        self._count = 0
        self._part = self.path.with_name(f"{self.path.stem}.part{self.path.suffix}")
        self._open(file_fps)

    def _open(self, file_fps: Fraction) -> None:
        style = self.style
        options = dict(style.container_options)
        if self.path.suffix.lower() in (".mp4", ".mov") and "movflags" not in options:
            options["movflags"] = "+faststart+use_metadata_tags"
        self._container = av.open(str(self._part), "w", options=options)
        self._container.metadata.update(style.tags or {})
        encoder = {"crf": str(style.crf), "preset": style.preset, **style.options}
        if style.codec == "libx265":
            encoder.setdefault("x265-params", "log-level=none")
        stream = self._container.add_stream(style.codec, rate=file_fps, options=encoder)
        if not isinstance(stream, VideoStream):
            raise ValueError(f"{style.codec} is not an encoder of video")
        self._stream = stream
        self._stream.width, self._stream.height = self.size_px
        self._stream.pix_fmt = style.pix_fmt
        self._stream.time_base = self._tick_s
        context = self._stream.codec_context
        context.time_base = self._tick_s
        context.thread_count = _THREADS
        context.sample_aspect_ratio = style.pixel_aspect
        if style.rotation_deg:
            self._stream.set_display_rotation(style.rotation_deg)
        self._sound = (
            None if style.sound_from is None else SoundTrack(style.sound_from, self._container)
        )

    def write_luma_chroma(
        self,
        y: Plane,
        u: Plane | None = None,
        v: Plane | None = None,
        time_s: float | None = None,
    ) -> None:
        """Add a frame from its planes.

        Parameters
        ----------
        y : ndarray, shape (height, width)
            Luma in the range of the layout: uint8, or uint16 when the layout has more bits.
        u, v : ndarray, optional
            Colour differences in the layout's own, smaller shape; grey when left out.
        time_s : float, optional
            True time of the frame from the first; evenly spaced when left out.
        """
        frame = VideoFrame(self.size_px[0], self.size_px[1], self.style.pix_fmt)
        deep = frame.format.components[0].bits > 8
        kind = np.dtype("<u2") if deep else np.dtype(np.uint8)
        grey = 1 << (frame.format.components[0].bits - 1)
        for plane, values in zip(frame.planes, (y, u, v), strict=False):
            per_line = plane.line_size // kind.itemsize
            lines = np.frombuffer(plane, kind).reshape(-1, per_line)  # type: ignore[call-overload]
            lines[: plane.height, : plane.width] = grey if values is None else values
        self._encode(frame, time_s)

    def write_bgr(self, image: NDArray[np.uint8], time_s: float | None = None) -> None:
        """Add a frame from blue, green, red, shape (height, width, 3), at a true time in s."""
        frame = VideoFrame.from_ndarray(np.ascontiguousarray(image), format="bgr24")
        self._encode(frame.reformat(format=self.style.pix_fmt), time_s)

    def _encode(self, frame: VideoFrame, time_s: float | None) -> None:
        true_s = self._count * self._step_s if time_s is None else Fraction(time_s)
        frame.pts = round(true_s * self._pace / self._tick_s)
        frame.time_base = self._tick_s
        self._count += 1
        self._container.mux(self._stream.encode(frame))
        if self._sound is not None:
            self._sound.up_to(float(true_s * self._pace))

    def close(self) -> None:
        """Finish the file and give it its name."""
        self._container.mux(self._stream.encode(None))
        if self._sound is not None:
            self._sound.close()
        self._container.close()
        self._part.replace(self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.close()
        else:
            self._container.close()
            self._part.unlink(missing_ok=True)
