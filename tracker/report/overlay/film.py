"""Writes the overlaid clip and one still a flight."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tracker.report.composite import BallPatch, Image, cut, multiple_exposure
from tracker.report.overlay.flight import OverlayFlight
from tracker.report.overlay.painter import OverlayPainter
from tracker.report.shot_picture import BALL_PX, LEAST_BALL_PX
from tracker.video import ClipFacts, ClipWriter, colour_frames, from_pictures

MOST_FPS = 60.0
"""Frames a second of the overlay at most: a screen shows no more (common practice, no source)."""
WIDEST_PX = 1920
"""Width of the overlay at most, so that a phone plays it."""
CRF = 21
"""Constant rate factor of H.264: fine detail stays (common practice, no source)."""
JPEG_QUALITY = 90
"""Of 100."""
USUAL_WIDTH_PX = 1920.0
"""Width of the frame for which lengths are stated in pixels."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Pace:
    """Which frames are written, and how fast they play.

    Attributes
    ----------
    every : int
        One in so many frames of the clip is written.
    fps : float
        Frames a second of true time that are written.
    slow : float
        How many times slower than life the file plays.
    """

    every: int
    fps: float
    slow: float

    @property
    def file_fps(self) -> float:
        """Frames a second of playing time."""
        return self.fps / self.slow


def pace_of(facts: ClipFacts, slow: float) -> Pace:
    """Return how a clip plays that many times slower than life, at no more than `MOST_FPS`."""
    steps = np.diff(facts.times_s)
    true_fps = 1.0 / float(np.median(steps)) if len(steps) else 30.0
    every = max(1, round(true_fps / slow / MOST_FPS))
    return Pace(every, true_fps / every, slow)


def has_true_speed(facts: ClipFacts) -> bool:
    """Return whether the file itself plays at the speed of life, so that its sound fits."""
    file_span = float(facts.file_times_s[-1] - facts.file_times_s[0])
    true_span = float(facts.times_s[-1] - facts.times_s[0])
    return abs(file_span - true_span) < 0.01 * max(true_span, 1e-9)


def write_overlay(
    facts: ClipFacts, painter: OverlayPainter, to: Path, slow: float, progress: Progress
) -> None:
    """Write a clip with everything drawn in, playable in browsers and on phones.

    H.264 with 4:2:0 chroma, its header first, upright; at the speed of life with its sound, or
    slower without.

    Parameters
    ----------
    facts : ClipFacts
    painter : OverlayPainter
    to : Path
        An ``.mp4`` file, which appears when it is whole.
    slow : float
        1 for the speed of life.
    progress : callable
        Called with how many frames are done, and how many there are.
    """
    pace = pace_of(facts, slow)
    shrink = min(1.0, WIDEST_PX / facts.size_px[0])
    width, height = (max(2, round(side * shrink / 2.0) * 2) for side in facts.size_px)
    sound = facts.path if slow == 1.0 and has_true_speed(facts) else None
    with ClipWriter(
        to, (width, height), pace.fps, crf=CRF, file_fps=pace.file_fps, sound_from=sound
    ) as writer:
        for index, image in colour_frames(facts):
            progress(index + 1, facts.frame_count)
            if index % pace.every:
                continue
            time_s = float(facts.times_s[index])
            frame = image.copy()
            painter.paint(frame, time_s)
            if frame.shape[:2] != (height, width):
                frame = cv2.resize(frame, (width, height), interpolation=cv2.INTER_AREA).astype(
                    np.uint8, copy=False
                )
            writer.write_bgr(frame, time_s)


def flight_stills(
    facts: ClipFacts, painter: OverlayPainter, frames: Sequence[Sequence[int]]
) -> list[bytes]:
    """Return a JPEG file of each flight: one frame with the ball at every place of it.

    Parameters
    ----------
    facts : ClipFacts
    painter : OverlayPainter
    frames : sequence of sequence of int
        By flight the frames of its used places, in the order of `OverlayFlight.seen_px`.
    """
    drawn = []
    for number, flight in enumerate(painter.flights):
        picture = _exposed(facts, flight, frames[number])
        painter.paint_still(picture, number)
        made, file = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        drawn.append(file.tobytes() if made else b"")
    return drawn


def _exposed(facts: ClipFacts, flight: OverlayFlight, frames: Sequence[int]) -> Image:
    """Return one frame of a flight with the ball of all its frames in it."""
    radius = max(LEAST_BALL_PX, BALL_PX * facts.size_px[0] / USUAL_WIDTH_PX)
    places = dict(zip(frames, flight.seen_px, strict=True))
    half = round(radius) + 2
    whole: list[Image] = []

    def take(index: int, image: Image) -> BallPatch | None:
        if not whole:
            whole.append(image.copy())
        return cut(index, image, places[index], half)

    taken = from_pictures(facts, places, take)
    if not whole:
        width, height = facts.size_px
        return np.full((height, width, 3), 128, np.uint8)
    patches = [patch for patch in taken.values() if patch is not None]
    return multiple_exposure(whole[0], patches, radius)
