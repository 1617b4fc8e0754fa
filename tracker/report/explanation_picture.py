"""One picture that shows why a flight counts as a shot, and why others do not."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, RejectedCandidate
from tracker.report.axes import Scale, label
from tracker.report.composite import Image
from tracker.report.labels import Box, box_about
from tracker.report.lettering import POINTS_PER_INCH, folded, line_inches
from tracker.report.look import DOTS_PER_INCH, FITTED, INK, PAPER, USED, WIDTH_INCHES, places
from tracker.report.sheet import Letters, Sheet
from tracker.report.shot_picture import CAUTION, CAUTION_SIZE, FOOT_INCHES

Array = NDArray[np.float64]

RIVALS = ("#ff8f6b", "#7fd4ff", "#d6a2ff", "#b5e36a")
"""Colours of rejected candidates, which have a number in the picture as well."""

MOST_DOTS = 20000
"""Candidates that are drawn at most; more would only cost time."""

DARKENED = 0.55
"""Share of its light that the frame keeps, so that dots and lines stand out; a matter of looks."""
_DARKER = (DARKENED * np.arange(256)).astype(np.uint8)

TALLEST_INCHES = 9.0
"""Greatest height of the frame."""
COLUMNS = 12
"""Close-ups in a row."""
TILE_INCHES = WIDTH_INCHES / COLUMNS
STRIP_INCHES = 1.47 * TILE_INCHES
"""Height of the row with what is written above and below it."""
HEADING_SIZE = 13.0
"""Size of the heading's letters, points."""
TEXT_SIZE = 8.5
"""Size of the reasons' letters, points."""
MARGIN_INCHES = 0.15
"""Around texts."""
RIVAL_WIDTH, CASED = 1.3, 2.4
"""Widths of a rival's line and of the dark line below it, points; a matter of looks."""
DASH_POINTS = (4.8, 2.1)
"""Lengths of a dash and of the gap after it, points; a matter of looks."""
NUMBER_POINTS = 7.5
"""Radius of the spot behind a rival's number, points."""
DOT_PX, DOT_OPACITY = 1.6, 0.9
"""Radius of a candidate's dot on the sheet, px, and how much it covers; a matter of looks."""
KEY_ACROSS, KEY_DOWN, KEY_INCHES = (0.80, 0.98), 0.037, 0.13
"""Where the scale of colours lies in the scene, as shares of it, and its height."""
KEY_TITLE = "candidates, by time in the clip, s"
_KEY = Letters(7.0, colour=PAPER, ha="center", casing=0.8)
_SHADES = cv2.applyColorMap(np.arange(256, dtype=np.uint8)[:, None], cv2.COLORMAP_VIRIDIS)[:, 0]


@dataclass(frozen=True)
class Instant:
    """One frame's piece around where the ball should be.

    Attributes
    ----------
    time_s : float
        Since the release.
    image : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.
    found : bool
        Whether the ball was found and used in that frame.
    """

    time_s: float
    image: Image
    found: bool


@dataclass(frozen=True)
class CandidateView:
    """What the clip showed during a span of time.

    Attributes
    ----------
    background : ndarray of uint8, shape (H, W, 3)
        What stays in the frame, blue, green, red.
    times_s : ndarray, shape (N,)
        True times of the candidates.
    pixels : ndarray, shape (N, 2)
    strip : tuple of Instant
    strip_name : str
        What the strip follows.
    side : int
        Pixels of the frame, across and down, of which each of the background is the mean.
    """

    background: Image
    times_s: Array
    pixels: Array
    strip: tuple[Instant, ...]
    strip_name: str
    side: int = 1

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of what the background shows, in the frame's pixels."""
        height, width = self.background.shape[:2]
        return self.side * width, self.side * height


@dataclass(frozen=True)
class Crossing:
    """In how many frames a flight could be met, and is by chance.

    Attributes
    ----------
    frames : int
        Frames of the clip in which the flight is inside the frame.
    by_chance : int
        Frames in which a detection lies beside the same flight, moved aside.
    aside_px : float
        How far it is moved up and down, in a frame 1920 pixels wide.
    """

    frames: int
    by_chance: int
    aside_px: float


@dataclass(frozen=True)
class Explanation:
    """What the picture is made of.

    Attributes
    ----------
    heading : str
    view : CandidateView
    shot : MeasuredShot or None
        None where no shot was found.
    rivals : tuple of RejectedCandidate
        Those that are drawn, strongest first.
    crossing : Crossing or None
        Of the shot's flight.
    """

    heading: str
    view: CandidateView
    shot: MeasuredShot | None
    rivals: tuple[RejectedCandidate, ...]
    crossing: Crossing | None = None


def explanation_picture(explanation: Explanation) -> bytes:
    """Return the picture as a JPEG file.

    On top the darkened frame without what moves, every candidate as a dot coloured by its time,
    the shot's path with its sightings, and dashed the paths of rejected candidates; below it
    close-ups at instants along the path, and the reasons.
    """
    width, height = explanation.view.size_px
    tall = min(WIDTH_INCHES * height / width, TALLEST_INCHES)
    head = folded(explanation.heading, WIDTH_INCHES - 2 * MARGIN_INCHES, HEADING_SIZE, "bold")
    lines = reasons(explanation)
    heights = (
        len(head) * line_inches(HEADING_SIZE) + 2 * MARGIN_INCHES,
        tall,
        STRIP_INCHES,
        len(lines) * line_inches(TEXT_SIZE) + 2 * MARGIN_INCHES,
        FOOT_INCHES,
    )
    sheet = Sheet.empty((WIDTH_INCHES, sum(heights)))
    edges = [0.0, *accumulate(heights)]
    heading, scene, strip, below, foot = (
        sheet.part(Box(0.0, above, WIDTH_INCHES, under)) for above, under in pairwise(edges)
    )
    _write(heading, head, Letters(HEADING_SIZE, "bold"))
    scene.fill(Box(0.0, 0.0, WIDTH_INCHES, tall), INK)
    wide = tall * width / height
    left = 0.5 * (WIDTH_INCHES - wide)
    _draw_scene(scene.part(Box(left, 0.0, left + wide, tall)), explanation, tall / height)
    _draw_strip(strip, explanation.view)
    _write(below, lines, Letters(TEXT_SIZE))
    foot.write((MARGIN_INCHES, 0.5 * FOOT_INCHES), CAUTION, Letters(CAUTION_SIZE))
    return sheet.jpeg()


def reasons(explanation: Explanation) -> list[str]:
    """Return the lines below the pictures: how the shot was found, why each rival is no shot."""
    said = []
    shot = explanation.shot
    if shot is not None:
        said.append(f"White: the shot, {shot.shot.quality}. {shot.shot.reason}".rstrip())
        if explanation.crossing is not None:
            said.append(counted(shot, explanation.crossing))
    if not explanation.rivals:
        said.append("No other candidate of that time looked like a flight.")
    for number, rival in enumerate(explanation.rivals, start=1):
        at_s = rival.release_s
        begun = f"at {at_s:.2f} s" if at_s >= 0.0 else f"{-at_s:.2f} s before the clip begins"
        said.append(
            f"{number}, dashed: release {begun}, something seen in {rival.frames_seen} of "
            f"{rival.frames_crossed} frames, support {rival.support:.0f}. {rival.reason}"
        )
    inches = WIDTH_INCHES - 2 * MARGIN_INCHES
    return [line for text in said for line in folded(text, inches, TEXT_SIZE)]


def counted(shot: MeasuredShot, crossing: Crossing) -> str:
    """Return what makes a flight a shot: how often it was found, how well it fits, and chance."""
    used = [point for point in shot.points if point.used]
    misses = np.array([(one.residual_column_px, one.residual_row_px) for one in used])
    misses = misses.reshape(-1, 2)[np.isfinite(misses.reshape(-1, 2)).all(axis=1)]
    seen = f"found in {len(used)} of the {crossing.frames} frames of its flight"
    said = [f"What counted: the ball was {seen}"]
    if len(misses):
        rms = float(np.sqrt(np.mean(misses**2)))
        said.append(f"these places lie {rms:.2f} px (root mean square) from one flight")
    said.append(
        f"the same flight moved {crossing.aside_px:g} px up or down meets detections in "
        f"{crossing.by_chance} of them"
    )
    return f"{'; '.join(said)}."


def _draw_scene(part: Sheet, explanation: Explanation, scale: float) -> None:
    """Draw the frame and all that was found in it; a pixel of it is `scale` inches wide."""
    view, shot = explanation.view, explanation.shot
    width, height = view.size_px

    def placed(pixels: Array) -> Array:
        far = np.abs(pixels - (width / 2, height / 2)).max(axis=1, initial=0.0) > 2 * width
        return np.where(far[:, None], np.nan, scale * (pixels + 0.5))

    part.lay(_DARKER[view.background], Box(0.0, 0.0, scale * width, scale * height))
    if len(view.times_s):
        _draw_candidates(part, view, placed)
        _draw_key(part, view, (scale * width, scale * height))
    for number, rival in enumerate(explanation.rivals, start=1):
        colour = RIVALS[(number - 1) % len(RIVALS)]
        ends = dashes(placed(rival.pixels))
        part.segments(ends, INK, CASED)
        part.segments(ends, colour, RIVAL_WIDTH)
        _draw_number(part, rival.pixels, number, (width, height), scale)
    if shot is not None and shot.path is not None:
        path = placed(shot.path.pixels)
        part.line(path, INK, CASED)
        part.line(path, FITTED, 1.0)
        for place in placed(places(shot, True)):
            part.line(_circle(place, 2.0), USED, 0.7, closed=True)


def _draw_candidates(part: Sheet, view: CandidateView, placed: Callable[[Array], Array]) -> None:
    """Draw every candidate as a dot coloured by its time."""
    step = max(1, -(-len(view.times_s) // MOST_DOTS))
    times = view.times_s[::step]
    first, last = float(view.times_s.min()), float(view.times_s.max())
    shades = _SHADES[np.rint(255.0 * (times - first) / max(last - first, 1e-9)).astype(int)]
    pixels = placed(view.pixels[::step]) * DOTS_PER_INCH - 0.5
    height, width = part.pixels.shape[:2]
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels >= 2) & (pixels < (width - 3, height - 3)), axis=1)
    columns, rows = np.rint(pixels[inside]).astype(int).T
    shades = shades[inside]
    for down, right, share in _SPOT:
        here = part.pixels[rows + down, columns + right]
        mixed = share * shades + (1.0 - share) * here
        part.pixels[rows + down, columns + right] = np.rint(mixed).astype(np.uint8)


def _draw_key(part: Sheet, view: CandidateView, inches: tuple[float, float]) -> None:
    """Draw the scale of the candidates' colours."""
    left, right = (share * inches[0] for share in KEY_ACROSS)
    top = KEY_DOWN * inches[1]
    # In an upright frame the title is longer than the scale.
    part.write((right, top - 0.1), KEY_TITLE, replace(_KEY, size=7.5, ha="right"))
    bar = Box(left, top, right, top + KEY_INCHES)
    part.lay(np.ascontiguousarray(_SHADES[None].astype(np.uint8)), bar)
    first, last = float(view.times_s.min()), float(view.times_s.max())
    scale = Scale(first, max(last, first + 1e-3), left, right)
    ticks = scale.ticks(5)
    gap = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    for tick in ticks:
        part.write((scale.at(tick), bar.bottom + 0.09), label(tick, gap), _KEY)


def _draw_number(
    part: Sheet, pixels: Array, number: int, size: tuple[int, int], scale: float
) -> None:
    """Write a rival's number beside the part of its path that is in the picture."""
    at = np.flatnonzero(np.all((pixels > 0) & (pixels < np.array(size)), axis=1))
    if not len(at):
        return
    # Rivals that run side by side get their numbers at different places.
    found = scale * (pixels[at[int((0.3 + 0.15 * number) * (len(at) - 1))]] + 0.5)
    # The whole spot lies in the picture, also of a path along its edge.
    edge = (NUMBER_POINTS + 0.6) / POINTS_PER_INCH
    place = np.clip(found, edge, scale * np.array(size) - edge)
    part.dots(place[None], NUMBER_POINTS + 0.6, INK)
    part.dots(place[None], NUMBER_POINTS, RIVALS[(number - 1) % len(RIVALS)])
    letters = Letters(9.0, "bold", ha="center")
    part.write((float(place[0]), float(place[1])), str(number), letters)


def _draw_strip(part: Sheet, view: CandidateView) -> None:
    """Show close-ups at instants along a path, each with four ticks about the ball's place."""
    if not view.strip:
        part.write((MARGIN_INCHES, 0.5), "No frame of it could be shown.", Letters(9.0))
        return
    part.write((MARGIN_INCHES, 0.11 * TILE_INCHES), view.strip_name, Letters(8.0))
    ways = TILE_INCHES * np.array([[0.19, 0.0], [-0.19, 0.0], [0.0, 0.19], [0.0, -0.19]])
    for tile, instant in enumerate(view.strip):
        middle = TILE_INCHES * np.array([tile + 0.5, 0.7])
        centre = float(middle[0]), float(middle[1])
        part.lay(instant.image, box_about(centre, (0.96 * TILE_INCHES, 0.96 * TILE_INCHES)))
        ticks = middle + np.stack([ways, 1.7 * ways], axis=1)
        part.segments(ticks, INK, CASED)
        part.segments(ticks, USED if instant.found else FITTED, 1.2)
        note = "" if instant.found else ", not found"
        below = centre[0], 1.3 * TILE_INCHES
        part.write(below, f"{instant.time_s:.2f} s{note}", Letters(7.0, ha="center"))


def _write(part: Sheet, lines: Sequence[str], letters: Letters) -> None:
    """Write lines of text one below the other."""
    for number, line in enumerate(lines):
        down = MARGIN_INCHES + (number + 0.5) * line_inches(letters.size)
        part.write((MARGIN_INCHES, down), line, letters)


def dashes(path: Array) -> Array:
    """Return the ends of the dashes along a path, shape (D, 2, 2), inches.

    Parameters
    ----------
    path : ndarray, shape (N, 2)
        Inches; NaN where it does not show.
    """
    path = path[np.isfinite(path).all(axis=1)]
    if len(path) < 2:
        return np.zeros((0, 2, 2))
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    begins = np.arange(0.0, along[-1], sum(DASH_POINTS) / POINTS_PER_INCH)
    ends = np.minimum(begins + DASH_POINTS[0] / POINTS_PER_INCH, along[-1])
    found = [[np.interp(at, along, axis) for axis in path.T] for at in (begins, ends)]
    return np.transpose(found, (2, 0, 1))


def _circle(place: Array, points: float) -> Array:
    angles = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    around = points / POINTS_PER_INCH * np.column_stack([np.cos(angles), np.sin(angles)])
    found: Array = place + around
    return found


def _spot() -> list[tuple[int, int, float]]:
    """Return the pixels of a candidate's dot about its middle, and how much each is covered."""
    reach = range(-2, 3)
    shares = {
        (down, right): float(np.clip(DOT_PX + 0.5 - np.hypot(down, right), 0.0, 1.0))
        for down in reach
        for right in reach
    }
    return [(*at, DOT_OPACITY * share) for at, share in shares.items() if share > 0.0]


_SPOT = _spot()
