"""What the pictures of `measure --explain` are made of, gathered from the clip."""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.measurement.close_ups import CloseUps
from tracker.records import (
    Candidates,
    FlightPath,
    MeasuredShot,
    Reason,
    RejectedCandidate,
    sentence,
)
from tracker.report.composite import BallPatch, Image, around, finer_by, squared
from tracker.report.explanation_picture import (
    CandidateView,
    Crossing,
    Explanation,
    Instant,
    explanation_picture,
)
from tracker.report.meetings import (
    ASIDE_PX,
    TOUCH_S,
    aside,
    crossed,
    evenly,
    frame_at,
    frames_between,
    met,
)
from tracker.report.shot_frames import half_patch_px
from tracker.video import ClipFacts, Frame, Shown, from_frames

Array = NDArray[np.float64]

BACKGROUND_FRAMES = 7
"""Frames whose median shows what stays; an odd number. More cost time and change nothing."""

GREY = 128
"""Level of a frame that stands for those that are damaged: the middle of 0 to 255."""

ROWS_AT_ONCE = 8
"""Rows of the background that are made at once: those of all its frames fit beside the core."""

MOST_RIVALS = 4
"""As many as there are colours that stay apart."""

MOST_DECODED = 120
"""Frames that are decoded once more for the close-ups along a candidate, where others take fewer:
phones set a key frame every half a second to a second, and other encoders every ten."""

LEAST_SUPPORT = -50.0
"""Log-likelihood ratio below which a rejected candidate was no rival; a matter of looks."""

HALF_PX = 16
"""Half the side of a close-up in a frame 1920 pixels wide."""

AROUND_S = 0.3
"""Candidates of this time before and after a flight are shown too, s."""

MOST_NOTED = 400_000
"""Candidates that are noted of a clip: two hours of a quiet field, ten megabytes."""


@dataclass
class CandidateLog:
    """Where the candidates of the frames of a clip were, without their pictures.

    Of a clip with too many, every second frame is left out, then every second of those.

    Attributes
    ----------
    wanted : frozenset of int
        Frames that the picture of a clip without a shot is made of.
    close_ups : CloseUps or None
        Keeps what the pictures of shots show.
    stills : dict of int to ndarray
        Those that have passed, no finer than a figure shows; dropped once they are not needed.
    """

    wanted: frozenset[int] = frozenset()
    close_ups: CloseUps | None = None
    stills: dict[int, Image] = field(default_factory=dict)
    every: int = 1
    frames: int = 0
    # Numbers without an object around each: a frame's times, counts and places, one after another.
    _times_s: "array[float]" = field(default_factory=lambda: array("d"))
    _counts: "array[int]" = field(default_factory=lambda: array("I"))
    _places: "array[float]" = field(default_factory=lambda: array("f"))

    @property
    def count(self) -> int:
        """Number of candidates that are noted."""
        return len(self._places) // 2

    def see(self, frame: Frame) -> None:
        """Keep a frame that is wanted, while it passes."""
        if frame.index in self.wanted:
            self.stills[frame.index] = _no_finer(frame.shown.whole())

    def drop_stills(self) -> None:
        """Keep no whole frame from now on: there is a shot, or the picture is drawn."""
        self.wanted = frozenset()
        self.stills.clear()

    def drop_pictures(self) -> None:
        """Keep no part of a frame any longer: all pictures are drawn."""
        self.drop_stills()
        self.close_ups = None

    def add(self, candidates: Candidates) -> None:
        """Note the candidates of one frame."""
        self.frames += 1
        if self.frames % self.every or not len(candidates.pixels):
            return
        self._times_s.append(candidates.time_s)
        self._counts.append(len(candidates.pixels))
        self._places.frombytes(candidates.pixels.astype(np.float32).tobytes())
        if self.count > MOST_NOTED:
            self.every *= 2
            self._thin_out()

    def _thin_out(self) -> None:
        """Leave out every second frame."""
        kept = np.arange(len(self._counts)) % 2 == 1
        of_kept = np.repeat(kept, self._counts)
        places = np.array(self._places, np.float32).reshape(-1, 2)[of_kept]
        self._times_s = array("d", np.array(self._times_s)[kept].tolist())
        self._counts = array("I", np.array(self._counts)[kept].tolist())
        self._places = array("f", places.tobytes())

    def between(self, first_s: float, last_s: float) -> tuple[Array, Array]:
        """Return times, shape (N,), and pixels, shape (N, 2), of the candidates of a time span."""
        times = np.repeat(np.array(self._times_s, float), self._counts)
        pixels = np.array(self._places, float).reshape(-1, 2)
        during = (times >= first_s) & (times <= last_s)
        return times[during], pixels[during]


@dataclass(frozen=True)
class _Course:
    """A path through the frame over time, and which of its frames hold a used sighting."""

    name: str = ""
    start_s: float = 0.0
    times_s: Array = field(default_factory=lambda: np.zeros(0))
    pixels: Array = field(default_factory=lambda: np.zeros((0, 2)))
    found: frozenset[int] = frozenset()


def explanation_pictures(
    facts: ClipFacts,
    log: CandidateLog,
    shots: Sequence[MeasuredShot],
    rejected: Sequence[RejectedCandidate],
    causes: Sequence[Reason] = (),
) -> dict[str, bytes]:
    """Return JPEG pictures by the end of their name: one a shot, or one of a clip without any.

    Parameters
    ----------
    facts : ClipFacts
        Of a clip that is decoded once more.
    log : CandidateLog
        Of the same clip.
    shots : sequence of MeasuredShot
    rejected : sequence of RejectedCandidate
    causes : sequence of Reason
        Why there is no shot, where that is known.
    """
    drawn = {}
    for shot in shots:
        if shot.path is not None:
            name = f"shot-{shot.shot.shot}-explained.jpg"
            drawn[name] = explanation_picture(_of_shot(facts, log, shot, rejected))
    if not drawn:
        drawn["explained.jpg"] = explanation_picture(_without_shot(facts, log, rejected, causes))
    return drawn


def log_of(facts: ClipFacts) -> CandidateLog:
    """Return a log of a clip that keeps what its picture is made of where it has no shot."""
    return CandidateLog(_stills_in(facts, _whole(facts)), CloseUps(half_patch_px(facts)))


def _whole(facts: ClipFacts) -> tuple[float, float]:
    return 0.0, float(facts.times_s[-1])


def _stills_in(facts: ClipFacts, span: tuple[float, float]) -> frozenset[int]:
    """Return the frames whose median is the background of a time span."""
    moments = np.linspace(max(span[0], 0.0), span[1], BACKGROUND_FRAMES)
    return frozenset(frame_at(facts, moment) for moment in moments.tolist())


def _of_shot(
    facts: ClipFacts,
    log: CandidateLog,
    shot: MeasuredShot,
    rejected: Sequence[RejectedCandidate],
) -> Explanation:
    """Return why a shot counts as one, and its rivals of the same time."""
    assert shot.path is not None
    span = (float(shot.path.times_s[0]), float(shot.path.times_s[-1]))
    near = [each for each in rejected if _overlaps(each, span)]
    return Explanation(
        f"Shot {shot.shot.shot} of {shot.shot.clip}: why it counts as a shot",
        _view(facts, log, span, _course_of(shot, shot.path)),
        shot,
        _strongest([each for each in near if each.support > LEAST_SUPPORT]),
        _crossing(facts, log, shot.path),
    )


def _crossing(facts: ClipFacts, log: CandidateLog, path: FlightPath) -> Crossing:
    """Return in how many frames a flight could be met, and is by chance."""
    by_chance = log.every * aside(facts, log.between, path)
    return Crossing(crossed(facts, path), round(by_chance), ASIDE_PX)


def _without_shot(
    facts: ClipFacts,
    log: CandidateLog,
    rejected: Sequence[RejectedCandidate],
    causes: Sequence[Reason],
) -> Explanation:
    """Return what came nearest to a shot in a clip without any."""
    rivals = _strongest(rejected)
    courses = [_course_along(facts, log, each, number) for number, each in enumerate(rivals, 1)]
    course = _soon_decoded(facts, courses)
    heading = f"No shot was measured in {facts.path.name}: the nearest candidates"
    if causes:
        heading = f"{facts.path.name}: {sentence(causes)}"
    view = _view(facts, log, _whole(facts), course)
    return Explanation(heading, view, None, rivals)


def _course_along(
    facts: ClipFacts, log: CandidateLog, each: RejectedCandidate, number: int
) -> _Course:
    """Return a rejected candidate's path, with the frames whose close-up holds a detection."""
    met_s = met(facts, log.between, (each.times_s, each.pixels), _half(facts))
    found = frozenset(frame_at(facts, moment) for moment in met_s.tolist())
    name = f"Along candidate {number}, with a detection in the close-up and without:"
    return _Course(name, float(each.times_s[0]), each.times_s, each.pixels, found)


def _half(facts: ClipFacts) -> int:
    """Return half the side of a close-up, px."""
    return round(HALF_PX * max(1.0, max(facts.size_px) / 1920))


def _soon_decoded(facts: ClipFacts, courses: Sequence[_Course]) -> _Course:
    """Return the first course whose close-ups take little decoding, or the one that takes least."""
    frames = [_decoded_for(facts, sorted(_places(facts, each))) for each in courses]
    for each, count in zip(courses, frames, strict=True):
        if count <= MOST_DECODED:
            return each
    return courses[int(np.argmin(frames))] if courses else _Course()


def _decoded_for(facts: ClipFacts, wanted: Sequence[int]) -> int:
    """Return how many frames are decoded for some of them, each from the key frame before it."""
    keys = np.flatnonzero(facts.listing.keys)
    first = np.searchsorted(keys, wanted, side="right")
    last = {int(key): frame for key, frame in zip(first, wanted, strict=True)}
    return sum(frame - int(keys[key - 1]) + 1 if key else frame + 1 for key, frame in last.items())


def _overlaps(each: RejectedCandidate, span: tuple[float, float]) -> bool:
    shown = each.times_s[np.isfinite(each.pixels).all(axis=1)]
    return bool(len(shown) and shown[0] < span[1] and shown[-1] > span[0])


def _strongest(rivals: Sequence[RejectedCandidate]) -> tuple[RejectedCandidate, ...]:
    return tuple(sorted(rivals, key=lambda each: (-each.support, -each.frames_seen))[:MOST_RIVALS])


def _course_of(shot: MeasuredShot, path: FlightPath) -> _Course:
    """Return the shot's path between its first and last used sighting."""
    used = [point for point in shot.points if point.used]
    times, pixels = path.times_s, path.pixels
    start_s = float(times[0])
    if used:
        times = np.clip(times, used[0].time_s - TOUCH_S, used[-1].time_s + TOUCH_S)
        each = [np.interp(times, path.times_s, path.pixels[:, axis]) for axis in (0, 1)]
        pixels = np.column_stack(each)
    found = frozenset(point.frame for point in used)
    return _Course("Along the shot's path:", start_s, times, pixels, found)


def _view(
    facts: ClipFacts, log: CandidateLog, span: tuple[float, float], course: _Course
) -> CandidateView:
    """Return the background of a time span, its candidates, and close-ups along a course."""
    still = _stills_in(facts, span)
    places = _places(facts, course)
    half = _half(facts)
    stills: list[Image] = []
    cutouts: dict[int, Image] = {}

    def take(index: int, shown: Shown) -> None:
        if index in still:
            stills.append(_no_finer(shown.whole()))
        box = around(facts.size_px, places[index], half) if index in places else None
        if box is not None:
            patch = BallPatch(index, box[:2], shown.part(box))
            cutouts[index] = squared(patch, places[index], half)

    held = still.intersection(log.stills)
    stills += [log.stills[index] for index in held]
    still -= held
    from_frames(facts, still | set(places), take)
    width, height = facts.size_px
    background = _middle(stills or [_no_finer(np.full((height, width, 3), GREY, np.uint8))])
    times, pixels = log.between(span[0] - AROUND_S, span[1] + AROUND_S)
    strip = tuple(
        Instant(float(facts.times_s[frame]) - course.start_s, cutouts[frame], frame in course.found)
        for frame in sorted(cutouts)
    )
    return CandidateView(background, times, pixels, strip, course.name, finer_by(width))


def _no_finer(image: Image) -> Image:
    """Return a frame no finer than a figure shows: else seven of them take much memory at 4K."""
    side = finer_by(image.shape[1])
    if side == 1:
        return image
    rows, columns = image.shape[0] // side, image.shape[1] // side
    part = image[: side * rows, : side * columns]
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def _middle(stills: Sequence[Image]) -> Image:
    """Return the median of pictures, a few rows at a time: all at once would take much memory.

    The levels of each pixel are put in order by exchanges of neighbours, in as many rounds as there
    are pictures; of an even number of pictures it is the mean of the middle two, rounded down.
    """
    count = len(stills)
    median = np.empty_like(stills[0])
    for top in range(0, len(median), ROWS_AT_ONCE):
        rows = slice(top, top + ROWS_AT_ONCE)
        ranked = [each[rows] for each in stills]
        for exchange in range(count):
            for low in range(exchange % 2, count - 1, 2):
                pair = ranked[low], ranked[low + 1]
                ranked[low], ranked[low + 1] = np.minimum(*pair), np.maximum(*pair)
        below, above = ranked[(count - 1) // 2], ranked[count // 2]
        median[rows] = below + (above - below) // 2
    return median


def _places(facts: ClipFacts, course: _Course) -> dict[int, Array]:
    """Return, by frame, where the course is at instants evenly along its visible part."""
    size = np.array(facts.size_px)
    pixels = course.pixels
    shown = np.isfinite(pixels).all(axis=1)
    inside = shown & np.all((pixels >= 0) & (pixels < size), axis=1)
    if not np.any(inside):
        return {}
    times, pixels = course.times_s[inside], pixels[inside]
    frames = set(evenly(frames_between(facts, times[0], times[-1]), course.found))
    return {
        frame: np.array(
            [np.interp(facts.times_s[frame], times, pixels[:, axis]) for axis in (0, 1)]
        )
        for frame in sorted(frames)
    }
