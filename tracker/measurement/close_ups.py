"""What pictures show of each place of a shot, kept while the clip passes."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracker.records import Candidates, MeasuredShot
from tracker.video import Shown, colours_within

Codes = NDArray[np.uint8]
Place = tuple[int, float, float]
"""Frame, column and row."""

Box = tuple[int, int, int, int]

MARGIN_PX = 5
"""How far the measured middle of a ball may lie from its candidate, px: some pixels of a reduced
picture. Beyond it the frame is decoded again."""

MOST_BYTES = 45_000_000
"""Memory that the squares of a flight's candidates may take. At 4K they would take more, and the
frames are decoded again."""

SHOWN_FPS = 60.0
"""Frames a second of which pictures show the ball: of more, one place hides the next."""

USUAL_CANDIDATES, KEPT_S = 36, 8.0
"""Candidates of a frame, and the time for which the search keeps them, s, for that estimate."""

MOST_PLACES = 20_000
"""Places of which close-ups are kept: some two hundred shots, fifty megabytes."""


@dataclass
class CloseUps:
    """Cutouts of frames in colour around the places of shots.

    Attributes
    ----------
    half : int
        A cutout is within so many pixels of a place.
    kept : dict of tuple to tuple
        By frame, column and row: the cutout's first column and row, and its pixels, blue, green,
        red.
    """

    half: int
    kept: dict[Place, tuple[tuple[int, int], Codes]] = field(default_factory=dict)

    def side(self, fps: float) -> int:
        """Return the side of the squares around candidates, 0 where they would take too much.

        Parameters
        ----------
        fps : float
            True frames a second of the clip, of which those that are shown have squares.
        """
        side = (2 * (self.half + MARGIN_PX) + 2) // 2 * 2
        held = 1.5 * side**2 * USUAL_CANDIDATES * KEPT_S * fps / shown_every(fps)
        return side if held <= MOST_BYTES else 0

    def take(self, measured: MeasuredShot, near: Sequence[Candidates]) -> None:
        """Keep what the candidates' squares show of a shot's places."""
        squares = {each.frame: each.colours for each in near if each.colours is not None}
        for point in measured.points:
            colours = squares.get(point.frame)
            place = point.frame, point.column_px, point.row_px
            if colours is None or not np.all(np.isfinite(place[1:])):
                continue
            column, row = round(place[1]), round(place[2])
            box = column - self.half, row - self.half, column + self.half + 1, row + self.half + 1
            cut = colours_within(colours, box)
            if cut is not None and len(self.kept) < MOST_PLACES:
                self.kept[place] = (box[:2], cut)


def shown_every(fps: float) -> int:
    """Return of how many frames one is shown in pictures, at so many true frames a second."""
    return max(1, round(fps / SHOWN_FPS))


class Squares:
    """Cuts the squares around a frame's candidates once these are known.

    Parameters
    ----------
    side : int
    every : int
        Of so many frames one has squares.
    """

    def __init__(self, side: int, every: int = 1) -> None:
        self._side, self._every = side, every
        self._waiting: dict[int, Shown] = {}

    def see(self, frame: int, shown: Shown) -> None:
        """Hold a frame until its candidates come, or those of a later one."""
        if frame % self._every == 0:
            self._waiting[frame] = shown

    def given(self, candidates: Candidates) -> Candidates:
        """Return a frame's candidates with their squares."""
        for earlier in [each for each in self._waiting if each < candidates.frame]:
            del self._waiting[earlier]
        shown = self._waiting.pop(candidates.frame, None)
        if shown is None:
            return candidates
        return candidates.with_colours(shown.around(candidates.pixels, self._side))
