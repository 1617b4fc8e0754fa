"""Facts of a clip, read before it is measured."""

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import middle
from calibration.errors import InputError
from tracker.video import notes
from tracker.video.listing import (
    Listing,
    choose_stream,
    first_frame_and_listing,
    open_clip,
    refuse_size,
)
from tracker.video.pixels import rotation_deg_of, shown_size

Array = NDArray[np.float64]

CAPTURE_TAGS = ("com.android.capture.fps",)
"""Tags in which a camera states the rate at which it took the frames."""


@dataclass(frozen=True)
class ClipFacts:
    """A clip as its file describes it.

    Attributes
    ----------
    path : Path
    size_px : tuple of int
        Width and height as shown, after the rotation flag.
    rotation_deg : int
        Quarter turns counter-clockwise that bring the stored picture to the shown one:
        0, 90, 180 or 270.
    frame_count : int
        Frames that the file lists for showing.
    file_times_s : ndarray, shape (N,)
        Presentation times less the track's start, in order, on the file's own clock.
    file_fps : float
        Rate at which the frames play, from the usual step between them.
    capture_fps : float or None
        Rate at which they were taken, as the session or the file states it; None if neither does.
    pace : float
        Playing seconds per true second: true time is file time divided by it.
    duration_s : float
        Playing time from the first frame to the end of the last, on the file's own clock.
    codec : str
    notes : tuple of str
        Sentences that a person should read.
    stored_size_px : tuple of int
        Width and height as stored.
    listing : Listing
        The frames that the file lists.
    missing_bytes : int
        How far the file's last box reaches beyond its end: above zero where it is cut off.
    missing_frames : int or None
        Frames that the header counts and the file lacks; None where the header counts none.
    """

    path: Path
    size_px: tuple[int, int]
    rotation_deg: int
    frame_count: int
    file_times_s: Array
    file_fps: float
    capture_fps: float | None
    pace: float
    duration_s: float
    codec: str
    notes: tuple[str, ...]
    stored_size_px: tuple[int, int]
    listing: Listing
    missing_bytes: int
    missing_frames: int | None

    @property
    def times_s(self) -> Array:
        """True seconds of each frame from the first, shape (N,)."""
        return np.asarray((self.file_times_s - self.file_times_s[0]) / self.pace, float)

    def shrunk(self, size_px: tuple[int, int]) -> "ClipFacts":
        """Return the clip with its frames made smaller to a width and height as they are read."""
        return replace(self, size_px=size_px)

    def frame_at(self, file_s: float) -> int:
        """Return the index of the frame nearest to a playing time from the first frame, s."""
        return int(np.argmin(np.abs(self.file_times_s - self.file_times_s[0] - file_s)))


def inspect(path: Path | str, capture_fps: float | None = None) -> ClipFacts:
    """Read a clip's facts: one pass over its packets, one frame decoded.

    Parameters
    ----------
    path : Path
    capture_fps : float, optional
        True frame rate as the session states it; it overrides the file's own tag.

    Raises
    ------
    InputError
        When the file is missing, is not a video, or holds no film that can be read.
    """
    path = Path(path)
    _refuse_rate(capture_fps, path)
    with open_clip(path) as container:
        stream = choose_stream(container, path)
        frame, listing = first_frame_and_listing(container, stream, path)
        tags = {**stream.metadata, **container.metadata}
        header = notes.Header(
            counted=stream.frames,
            films=len(container.streams.video),
            tags=tags,
            aspect=stream.sample_aspect_ratio or Fraction(1),
            coded_aspect=stream.codec_context.sample_aspect_ratio,
            missing_bytes=notes.missing_bytes(path),
        )
        codec = stream.codec_context.name
    times = listing.times_s()
    if len(times) < 2:
        raise InputError("the clip has one frame only", where=str(path))
    refuse_size((frame.width, frame.height), path)
    rotation, file_fps = rotation_deg_of(frame), usual_rate(times)
    rate, pace, words = pace_of(file_fps, capture_fps, _tagged_rate(tags))
    stored = (frame.width, frame.height)
    return ClipFacts(
        path=path,
        size_px=shown_size(stored, header.aspect, rotation),
        rotation_deg=rotation,
        frame_count=len(times),
        file_times_s=times,
        file_fps=file_fps,
        capture_fps=rate,
        pace=pace,
        duration_s=float(times[-1] - times[0] + middle(np.diff(times))),
        codec=codec,
        notes=(*words, *notes.gather(header, listing, frame, rotation)),
        stored_size_px=stored,
        listing=listing,
        missing_bytes=header.missing_bytes,
        missing_frames=notes.missing_frames(header, listing),
    )


def _refuse_rate(capture_fps: float | None, path: Path) -> None:
    """Raise `InputError` for a stated frame rate that is none."""
    if capture_fps is not None and not (np.isfinite(capture_fps) and capture_fps > 0):
        raise InputError(
            f"capture_fps is {capture_fps:g}",
            where=str(path),
            remedy="give the true frame rate in frames a second, for instance 240.0",
        )


def usual_rate(times_s: Array) -> float:
    """Return frames a second from the steps near the median step.

    The mean of those steps is taken, since a container with coarse ticks rounds each of
    them, and the median with it; gaps are left out.
    """
    steps = np.diff(times_s)
    usual = middle(steps)
    near = steps[(steps > 0.6 * usual) & (steps < 1.5 * usual)]
    return float(1.0 / near.mean())


def pace_of(
    file_fps: float, session_fps: float | None, tagged_fps: float | None
) -> tuple[float | None, float, tuple[str, ...]]:
    """Return the capture rate, playing seconds per true second, and sentences about it.

    A rate that the session states is used. A tag is used when it is at least half
    again as high as the file's rate, or at most two thirds of it: some phones write the rate
    that was asked for into every clip, though in poor light they take fewer frames.

    Parameters
    ----------
    file_fps : float
        Rate at which the frames play.
    session_fps, tagged_fps : float or None
        Rate at which they were taken, as the session and the file state it.
    """
    if session_fps is not None:
        ratio = session_fps / file_fps
        # Phones keep their nominal rate within a percent or so; the file's own times are better.
        pace = 1.0 if abs(ratio - 1.0) < 0.02 else ratio
        return session_fps, pace, _pace_words(pace, "the session says", session_fps, file_fps)
    if tagged_fps is None:
        return None, 1.0, ()
    ratio = tagged_fps / file_fps
    if 2.0 / 3.0 < ratio < 1.5:
        words: tuple[str, ...] = ()
        if abs(ratio - 1.0) > 0.1:
            words = (
                f"The file's tag says that frames were taken at {tagged_fps:g} a second, but they "
                f"come at {file_fps:.4g}; it is taken to play at life speed. If it does not, write "
                "the true rate as capture_fps under [camera].",
            )
        return tagged_fps, 1.0, words
    whole = round(ratio)
    # A phone stretches its times by a whole number; what is left over is the camera's own clock.
    pace = float(whole) if whole >= 2 and abs(ratio / whole - 1.0) < 0.005 else ratio
    return tagged_fps, pace, _pace_words(pace, "its tag says", tagged_fps, file_fps)


def _pace_words(pace: float, who: str, stated_fps: float, file_fps: float) -> tuple[str, ...]:
    """Say how much slower or faster than life a clip plays."""
    if pace == 1.0:
        return ()
    manner = f"{pace:.4g} times slower" if pace > 1 else f"{1 / pace:.4g} times faster"
    return (
        f"The clip plays {manner} than life: {who} that frames were taken at {stated_fps:g} a "
        f"second, and the file shows {file_fps:.4g}.",
    )


def _tagged_rate(tags: dict[str, str]) -> float | None:
    """Return the capture rate in the file's own tags."""
    for tag in CAPTURE_TAGS:
        try:
            rate = float(tags[tag])
        except (KeyError, ValueError):
            continue
        if np.isfinite(rate) and rate > 0:
            return rate
    return None
