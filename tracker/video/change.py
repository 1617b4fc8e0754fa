"""How much each frame differs from the one before it, gathered while the frames pass."""

from array import array

import numpy as np
from numpy.typing import NDArray

from calibration.timebase import STILL_PEAK, Changes
from tracker.video.facts import ClipFacts
from tracker.video.reading import Frame

BANDS, COLUMNS = 9, 16
"""Regions of the picture, from top to bottom and from left to right."""

_ROWS, _PIXELS = 270, 160_000
"""About so many rows of a frame are looked at, and no more pixels than about so many."""

MOST_KEPT, RUN = 40_000, 8192
"""Frames of which the changes of regions are kept, 12 MB: eleven minutes at 60 a second. Of a
longer film every so many runs are kept, each longer than the 6,000 frames in which a beat is
searched for."""

_SELDOM = 7
"""The change over two steps is measured at every seventh new picture: no usual beat divides it."""

_NOISE = 10
"""Differences of luma up to this many grey levels are taken for grain."""


class ChangeMeter:
    """Measures the change from frame to frame; feed it every frame in order.

    It looks at whole rows, evenly chosen, since memory is read fastest along a row.

    Parameters
    ----------
    facts : ClipFacts
        The clip whose frames will be fed.
    """

    def __init__(self, facts: ClipFacts) -> None:
        frame_count = facts.frame_count
        self._alone = facts.listing.keys
        self._whole = np.full(frame_count, np.nan)
        self._peaks = np.full(frame_count, np.nan)
        runs = np.arange(frame_count) // RUN
        kept = runs % max(1, -(-frame_count // MOST_KEPT)) == 0
        self._row = np.where(kept, np.cumsum(kept) - 1, -1).astype(np.int32)
        # Eleven bits are plenty for a mean of noisy levels, and there are 144 of each frame.
        self._regions = np.full((int(kept.sum()), BANDS * COLUMNS), np.nan, dtype=np.float16)
        self._over_two, self._over_two_at = array("f"), array("q")
        self._last = -1
        self._fresh = 0
        self._rows: tuple[NDArray[np.uint8], ...] = ()
        self._grid = _Grid((0, 0))

    def changes(self) -> Changes:
        """Return what was gathered."""
        at = np.array(self._over_two_at, np.int64)
        over_two = np.array(self._over_two, np.float32).reshape(len(at), BANDS * COLUMNS)
        return Changes(
            self._whole, self._peaks, self._regions, over_two, at, self._alone, self._row
        )

    def see(self, frame: Frame) -> None:
        """Take the next frame."""
        import cv2

        height, width = frame.luma.shape
        chosen = frame.luma[:: max(1, round(height / min(_ROWS, _PIXELS / width)))]
        if self._grid.shape != chosen.shape:
            self._grid = _Grid(chosen.shape)
            self._rows = tuple(np.empty(chosen.shape, np.uint8) for _ in range(4))
            self._last, self._fresh = -1, 0
        earlier, before, now, difference = self._rows
        np.copyto(now, chosen)
        follows = frame.index == self._last + 1 > 0 and not frame.suspect
        self._last = frame.index
        if not follows:
            self._fresh = 1
            self._rows = (earlier, now, before, difference)
            return
        cv2.absdiff(now, before, dst=difference)
        peak = cv2.norm(difference, cv2.NORM_INF)
        self._peaks[frame.index] = peak
        self._whole[frame.index] = cv2.norm(difference, cv2.NORM_L1) / difference.size
        row = self._row[frame.index]
        if row >= 0:
            self._regions[row] = self._grid.means(difference)
        if peak <= STILL_PEAK:
            # Nothing new: the last two new pictures stay what they were.
            return
        self._fresh += 1
        if self._fresh >= 3 and self._fresh % _SELDOM == 0 and row >= 0:
            cv2.absdiff(now, earlier, dst=difference)
            self._over_two.frombytes(self._grid.means(difference).tobytes())
            self._over_two_at.append(frame.index)
        self._rows = (before, now, earlier, difference)


class _Grid:
    """Divides a picture into regions."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.shape = shape
        self._tops = np.linspace(0, shape[0], BANDS + 1).astype(int)
        self._lefts = np.linspace(0, shape[1], COLUMNS + 1).astype(int)
        self._areas = np.outer(np.diff(self._tops), np.diff(self._lefts))
        self._sums = np.empty((BANDS, shape[1]), dtype=np.int32)

    def means(self, difference: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Return the mean of each region, grain taken off, shape (B,); `difference` is spoilt."""
        import cv2

        cv2.threshold(difference, _NOISE, 0, cv2.THRESH_TOZERO, dst=difference)
        for band in range(BANDS):
            rows = difference[self._tops[band] : self._tops[band + 1]]
            line = self._sums[band : band + 1]
            cv2.reduce(rows, 0, cv2.REDUCE_SUM, dst=line, dtype=cv2.CV_32S)
        sums = np.add.reduceat(self._sums, self._lefts[:-1], axis=1)
        found: NDArray[np.float32] = (sums / self._areas).ravel().astype(np.float32)
        return found
