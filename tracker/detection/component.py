"""One component of the picture, luma or a colour difference, searched for what moves."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tracker.detection.alarm import Alarm, Frames
from tracker.detection.difference import Difference, Luma, Places, change_at, squares
from tracker.detection.noise import EVERY, NoiseMap
from tracker.detection.peaks import NO_SQUARES, Marked, in_order, over_threshold, part, peaks
from tracker.detection.reduction import Reduction
from tracker.detection.settings import ComponentSettings, Window
from tracker.records import Backdrop, Cutouts

Array = NDArray[np.float64]

BALL_PX = 1.4
"""Least diameter of the ball in a picture made smaller by a whole number, px: a sum of 2 by 2
pixels then holds most of a ball and its streak, and little else."""

MIDDLE_REACH, MIDDLE_LEVEL = 3, 0.35
"""How far around a square of 2 by 2 pixels its middle is looked for, px, and the share of its
change above which a pixel counts: a ball of three pixels, without what is faint around."""

COARSE_PX = 2
"""Where places are not measured later, those in cells wider than this, px, are the middle of the
change: a path of whole cells of 4 px scatters by 2 px, more than a throw's may."""

WANTED = 0.22
"""Number of places per frame that is aimed at, as a share of the most that are kept. Twice as many,
on noise alone, found the ball in one more frame of two hundred."""

NEAR_PX = (5, 3)
"""A place this near to a stronger one is not counted, px, in a picture as filmed and in one made
smaller: about a ball and its soft edge."""

BEHIND_SIDE = 17
"""Side of the part of a cutout whose background is kept, px: a ball of 8 px with its soft edge and
some pixels to move in."""

MOST_PIXELS, MOST_HELD, FEWEST = 4_200_000, 17_000_000, 2
"""Pixels of frames that are looked at together at most, for memory, as they are searched and as
they are held for cutouts, and fewest such frames: eight of 1920 by 1080."""

MARGIN = 48
"""Cells around the window that are watched beside it: three blocks of the map of usual change, so
that what lies beyond has no part in the thresholds inside."""

NO_PLACES = np.zeros(0, np.int64)

LEAST_SIDE_PX = 2
"""A part of the picture with a shorter side holds no sum of 2 by 2 pixels, and no place in it."""


@dataclass(frozen=True)
class Found:
    """Places of change in some frames that were looked at together.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
        Place among those frames, in ascending order.
    pixels : ndarray, shape (N, 2)
    strength : ndarray, shape (N,)
    """

    frames: Places
    pixels: Array
    strength: Array


NOTHING = Found(NO_PLACES, np.zeros((0, 2)), np.zeros(0))


class Component:
    """Frames of one component, given one by one, and the places of change in them.

    Some frames are looked at together: a call costs more than what it does to few pixels.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the component.
    settings : ComponentSettings
    """

    def __init__(self, shape: tuple[int, int], settings: ComponentSettings) -> None:
        self._settings, self._lag, self._most = settings, settings.lag, settings.most
        left, top, right, bottom = region = _inside(settings.window, shape)
        if settings.everywhere:
            region = 0, 0, shape[1], shape[0]
        least = min(region[3] - region[1], region[2] - region[0])
        self._blind = least < LEAST_SIDE_PX
        shrink = self._shrink = max(1, min(shrink_of(settings.diameter_px), least // LEAST_SIDE_PX))
        self._reach = NEAR_PX[shrink > 1]
        self._side = min(2 * settings.half + 1, *shape)
        high, wide = (max(each // shrink, LEAST_SIDE_PX) for each in (bottom - top, right - left))
        rows, columns, first, start = high, wide, 0, 0
        if settings.everywhere:
            rows, columns = (max(each // shrink, LEAST_SIDE_PX) for each in shape)
            first, start = top // shrink, left // shrink
        self._window = slice(first, first + high), slice(start, start + wide)
        """The window, in cells of the part that is searched."""
        self._region = region
        """That part, px."""
        most_frames = min(MOST_PIXELS // (rows * columns), MOST_HELD // (shape[0] * shape[1]))
        self.together = min(max(most_frames, FEWEST), EVERY)
        """Frames that are looked at together at most."""
        self._size = (shape[1], shape[0])
        self._squares: deque[Luma] = deque()
        self._frames = Frames((rows, columns), self._lag, 2 * self._lag + self.together)
        self._pushed = self._done = 0
        self._reduction = Reduction(shrink)
        self._difference = Difference((rows, columns))
        self._alarm = Alarm(self._frames)
        self._noise = NoiseMap((rows, columns), wanted=WANTED * self._most)
        self._everywhere: NoiseMap | None = None
        """Where places everywhere are wanted too: the thresholds of these."""
        if settings.everywhere:
            self._everywhere = NoiseMap((rows, columns), wanted=WANTED * self._most)
        self._backdrop: Backdrop | None = None
        self._weakest: list[float] = []

    @property
    def ready(self) -> int:
        """Frames that can be looked at."""
        return max(self._pushed - 2 * self._lag - self._done, 0)

    @property
    def run(self) -> int:
        """Frames that have the thresholds of the next one to be looked at, that one included."""
        return self._noise.run

    def push(self, picture: Luma) -> None:
        """Take the next frame; as many as `together` may be ready."""
        if self._settings.described:
            self._squares.append(squares(picture, self._side))
        self._pushed += 1
        if self._blind:
            return
        rows, columns = self._frames.watched
        small = self._frames.next()[rows, columns]
        shrink = self._shrink
        left, top = self._region[0] + columns.start * shrink, self._region[1] + rows.start * shrink
        high, wide = small.shape
        part = picture[top : top + high * shrink, left : left + wide * shrink]
        self._reduction.reduce(part, small)
        self._frames.pushed()

    def narrow(self) -> None:
        """Find places in the window only from now on."""
        if self._everywhere is not None:
            self._everywhere = None
            near = (
                slice(max(each.start - MARGIN, 0), min(each.stop + MARGIN, end))
                for each, end in zip(self._window, self._frames.shape, strict=True)
            )
            self._frames.watch(*near)

    def places(self, count: int) -> tuple[Found, Found]:
        """Return the places of change above threshold in the next frames that are ready.

        Parameters
        ----------
        count : int
            Frames, no more than `run`.

        Returns
        -------
        tuple of Found
            Those in the window; and those everywhere, where these are wanted.
        """
        self._weakest = [0.0] * count
        if self._blind:
            return NOTHING, NOTHING
        if self._noise.due:
            self._take()
        near, everywhere = self._over(count)
        settings, coarse = self._settings, self._shrink > COARSE_PX
        centred = settings.centred or (coarse and not settings.described)
        found, self._weakest = self._found(near, self._noise, count, centred)
        if self._everywhere is None:
            return found, NOTHING
        centred = settings.centred or coarse
        return found, self._found(everywhere, self._everywhere, count, centred)[0]

    def _found(
        self, marked: Marked, noise: NoiseMap, count: int, centred: bool
    ) -> tuple[Found, list[float]]:
        """Return the strongest of the squares that rule their surroundings, and the weakest kept.

        The least strength is that of each frame that had too many, else 0.
        """
        frames, rows, columns, sums = marked
        for counted in np.bincount(frames, minlength=count).tolist():
            noise.learn(counted)
        strength = sums / noise.level_at(rows, columns)
        kept, weakest = self._strongest(frames, strength, count)
        if kept is not None:
            frames, rows, columns = frames[kept], rows[kept], columns[kept]
            strength = strength[kept]
        at = np.empty((len(rows), 2))
        if centred:
            at[:, 0], at[:, 1] = self._middles(frames, rows, columns)
        else:
            at[:, 0], at[:, 1] = columns, rows
        at *= self._shrink
        # The middle of four pixels, each of which is the mean of a square of them.
        at += (2 * self._shrink - 1) / 2.0
        at += self._region[:2]
        return Found(frames, at, strength), weakest

    def passed(self, count: int) -> None:
        """Go on to the frames after those that were looked at."""
        self._done += count
        for _ in range(count if self._settings.described else 0):
            self._squares.popleft()

    def _take(self) -> None:
        """Take the next frame's change in, and the thresholds that follow from it."""
        frames, noise, first = self._frames, self._noise, self._done
        three = (frames.picture(first + step * self._lag) for step in range(3))
        noise.take(self._difference.change(*three))
        if self._settings.described:
            light = noise.light(frames.picture(first + self._lag))
            self._backdrop = Backdrop(self._region, *noise.levels, *light)
        if self._everywhere is not None:
            self._everywhere.take_of(noise)
        self._alarm.follow(self._least_limit())

    def _over(self, count: int) -> tuple[Marked, Marked]:
        """Return the squares over their threshold that rule their surroundings in the next frames.

        Those in the window come first, then those everywhere where these are wanted.
        """
        first = self._done + self._lag
        named = [self._alarm.squares(first + at) for at in range(count)]
        parts = [self._each(self._named(named))]
        for at, names in enumerate(named):
            if names is None:
                # Thinned at once: squares that all changed would take much memory.
                both = self._each(self._whole(at))
                parts.append((peaks(both[0], *self._bounds), peaks(both[1], *self._bounds)))
        near, everywhere = (in_order([each[at] for each in parts]) for at in range(2))
        return peaks(near, *self._bounds), peaks(everywhere, *self._bounds)

    def _each(self, marked: Marked) -> tuple[Marked, Marked]:
        """Return the squares over the threshold in the window, and over that of the whole frame."""
        whole = NO_SQUARES if self._everywhere is None else over_threshold(marked, self._everywhere)
        _, rows, columns, _ = marked
        if self._settings.everywhere:
            down, right = self._window
            inside = (rows >= down.start) & (rows < down.stop - 1)
            inside &= (columns >= right.start) & (columns < right.stop - 1)
            marked = part(marked, np.flatnonzero(inside))
        return over_threshold(marked, self._noise), whole

    def _named(self, named: Sequence[Places | None]) -> Marked:
        """Return the squares that alarmed in each frame."""
        known = [NO_PLACES if names is None else names for names in named]
        frames = np.repeat(np.arange(len(known)), [len(names) for names in known])
        names = np.concatenate(known)
        numbers = self._done + self._lag + frames
        wide = self._frames.wide
        sums = self._change(numbers, names + np.array([[0], [1], [wide], [wide + 1]])).sum(axis=0)
        rows, columns = np.divmod(names, wide)
        return frames, rows, columns, sums

    def _whole(self, at: int) -> Marked:
        """Return the squares over their limit in one frame, all of whose squares are summed."""
        number, part = self._done + self._lag + at, self._frames.watched
        before, now, after = (
            self._frames.picture(number + step * self._lag)[part] for step in (-1, 0, 1)
        )
        limit = self._least_limit()[part]
        rows, columns, sums = self._difference.over(before, now, after, limit)
        rows, columns = rows + part[0].start, columns + part[1].start
        return np.full(len(rows), at), rows, columns, sums

    def _least_limit(self) -> Luma:
        """Return the limit that no square of either kind is below."""
        if self._everywhere is None:
            return self._noise.limit
        return np.minimum(self._noise.limit, self._everywhere.limit)

    @property
    def _bounds(self) -> tuple[int, int]:
        """The most rulers of a frame, and their reach."""
        return 3 * self._most, self._reach

    def _change(self, numbers: Places, places: Places) -> Places:
        """Return the change of pixels at places in the lines of frames of some numbers."""
        frames, lag = self._frames, self._lag
        size = frames.pixels[0].size
        three = (size * ((numbers + step * lag) % frames.count) + places for step in (-1, 0, 1))
        return change_at(frames.pixels.reshape(-1), *three)

    def _strongest(
        self, frames: Places, strength: Array, count: int
    ) -> tuple[Places | None, list[float]]:
        """Return the strongest places of each frame, None where no frame has too many."""
        ends = np.searchsorted(frames, np.arange(count + 1))
        weakest = [0.0] * count
        if np.diff(ends).max() <= self._most:
            return None, weakest
        kept = []
        for at, (first, end) in enumerate(pairwise(ends.tolist())):
            best = np.arange(first, end)
            if len(best) > self._most:
                order = np.argsort(-strength[first:end], kind="stable")
                best = first + np.sort(order[: self._most])
                weakest[at] = float(strength[best].min())
            kept.append(best)
        return np.concatenate(kept), weakest

    def _middles(self, frames: Places, rows: Places, columns: Places) -> tuple[Array, Array]:
        """Return columns and rows of the middles of the change around squares of 2 by 2 pixels.

        Parameters
        ----------
        frames : ndarray, shape (N,)
            Places of the frames among those that are looked at.
        rows, columns : ndarray, shape (N,)
            Of the upper left pixel of each square.
        """
        side = 2 * MIDDLE_REACH + 2
        step = np.arange(side) - MIDDLE_REACH
        down, right = rows[:, None] + step, columns[:, None] + step
        height, width = self._frames.shape
        inside = ((down >= 0) & (down < height))[:, :, None] & ((right >= 0) & (right < width))[
            :, None, :
        ]
        places = np.clip(down, 0, height - 1)[:, :, None] * self._frames.wide
        places = places + np.clip(right, 0, width - 1)[:, None, :]
        numbers = (self._done + self._lag + frames)[:, None, None]
        around = np.where(inside, self._change(numbers, places), 0).astype(float)
        inner = around[:, MIDDLE_REACH : MIDDLE_REACH + 2, MIDDLE_REACH : MIDDLE_REACH + 2]
        weight = np.maximum(around - MIDDLE_LEVEL * inner.mean(axis=(1, 2), keepdims=True), 0.0)
        whole = np.maximum(weight.sum(axis=(1, 2)), 1e-6)
        offset = step - 0.5
        return (
            columns + (weight.sum(axis=1) @ offset) / whole,
            rows + (weight.sum(axis=2) @ offset) / whole,
        )

    def backdrop(self, at: int) -> Backdrop | None:
        """Return what one of the frames that `places` looked at is like where it found none."""
        weakest = self._weakest[at]
        if self._backdrop is None or weakest == self._backdrop.weakest:
            return self._backdrop
        return replace(self._backdrop, weakest=weakest)

    def cut(self, at: int, pixels: Array) -> Cutouts:
        """Cut twice one of those frames less both that it is held against, around places (N, 2)."""
        before, now, after = (self._squares[at + step * self._lag] for step in range(3))
        side = self._side
        corners = np.rint(pixels).astype(np.int64)
        corners -= side // 2
        np.maximum(corners, 0, out=corners)
        np.minimum(corners, np.subtract(self._size, side), out=corners)
        place = (corners[:, 1], corners[:, 0])
        patches = now[place].astype(np.int16)
        patches *= 2
        held = before[place].astype(np.int16)
        held += after[place]
        patches -= held
        edge = max((side - BEHIND_SIDE) // 2, 0)
        middle = held[:, edge : side - edge, edge : side - edge]
        return Cutouts(patches, corners, (middle >> 1).astype(np.uint8))


def shrink_of(diameter_px: float) -> int:
    """Return the whole number by which a picture is made smaller for a ball of some diameter."""
    return max(1, int(diameter_px / BALL_PX))


def _inside(window: Window, shape: tuple[int, int]) -> Window:
    """Return the part of a window that a picture of some rows and columns holds."""
    # Plain numbers, also of a window that was computed with arrays: a queue's length must be one.
    first_column, first_row, end_column, end_row = (int(each) for each in window)
    left, top = min(max(first_column, 0), shape[1]), min(max(first_row, 0), shape[0])
    return left, top, max(min(end_column, shape[1]), left), max(min(end_row, shape[0]), top)
