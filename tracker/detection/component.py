"""One component of the picture, luma or a colour difference, searched for what moves."""

from collections import deque
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.detection.alarm import Alarm
from tracker.detection.difference import Difference, Luma, squares
from tracker.detection.noise import HIGHEST, NoiseMap
from tracker.records import Backdrop, Cutouts

Array = NDArray[np.float64]
Window = tuple[int, int, int, int]

BALL_PX = 1.4
"""Least diameter of the ball in a picture made smaller by a whole number, px: a sum of 2 by 2
pixels then holds most of a ball and its streak, and little else."""

MIDDLE_REACH, MIDDLE_LEVEL = 3, 0.35
"""How far around a square of 2 by 2 pixels its middle is looked for, px, and the share of its
change above which a pixel counts: a ball of three pixels, without what is faint around."""

WANTED = 0.22
"""Number of places per frame that is aimed at, as a share of the most that are kept. Twice as many,
on noise alone, found the ball in one more frame of two hundred."""

NEAR_PX = (5, 3)
"""A place this near to a stronger one is not counted, px, in a picture as filmed and in one made
smaller: about a ball and its soft edge."""

BEHIND_SIDE = 17
"""Side of the part of a cutout whose background is kept, px: a ball of 8 px with its soft edge and
some pixels to move in."""

LEAST_SIDE_PX = 2
"""A part of the picture with a shorter side holds no sum of 2 by 2 pixels, and no place in it."""


class Component:
    """Frames of one component, given one by one, and the places of change in them.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the component.
    window : tuple of int
        First column, first row, end column, end row of the part that is watched.
    diameter_px : float
        Of the ball, in the component's own pixels.
    lag : int
        Frames between a frame and the two that are subtracted from it.
    half : int
        Half the side of a cutout, less its middle pixel.
    most : int
        Places kept per frame.
    """

    def __init__(
        self,
        shape: tuple[int, int],
        window: Window,
        diameter_px: float,
        lag: int,
        half: int,
        most: int,
    ) -> None:
        self._lag, self._most = lag, most
        left, top, right, bottom = self._window = _inside(window, shape)
        least = min(bottom - top, right - left)
        self._blind = least < LEAST_SIDE_PX
        self._shrink = max(1, min(shrink_of(diameter_px), least // LEAST_SIDE_PX))
        self._reach = NEAR_PX[self._shrink > 1]
        self._side = min(2 * half + 1, *shape)
        self._shape = (
            max((bottom - top) // self._shrink, LEAST_SIDE_PX),
            max((right - left) // self._shrink, LEAST_SIDE_PX),
        )
        self._size = (shape[1], shape[0])
        self._squares: deque[Luma | None] = deque(maxlen=2 * lag + 1)
        self._small: deque[Luma] = deque(maxlen=2 * lag + 1)
        # One more than are looked at together: a fresh array for each frame costs page faults.
        buffers = 2 * lag + 2 if self._shrink > 1 and not self._blind else 0
        self._buffers = [np.empty(self._shape, np.uint8) for _ in range(buffers)]
        self._pushed = 0
        self._difference = Difference(self._shape)
        self._alarm = Alarm(self._shape, lag)
        self._noise = NoiseMap(self._shape, wanted=WANTED * most)
        self.centred = False
        """Whether a place is the middle of the change around it, to a part of a cell."""
        self.described = True
        """Whether the backdrop is taken, and frames are kept for cutouts."""
        self._backdrop: Backdrop | None = None
        self._weakest = 0.0

    def push(self, picture: Luma) -> bool:
        """Take the next frame; return whether the one `lag` frames ago can be looked at."""
        self._squares.append(squares(picture, self._side) if self.described else None)
        left, top, right, bottom = self._window
        part = picture[top:bottom, left:right]
        if self._shrink > 1 and not self._blind:
            rows, columns = self._shape
            part = part[: rows * self._shrink, : columns * self._shrink]
            small = self._buffers[self._pushed % len(self._buffers)]
            cv2.resize(part, (columns, rows), dst=small, interpolation=cv2.INTER_AREA)
            part = small
        self._pushed += 1
        self._small.append(part)
        if not self._blind and len(self._small) > self._lag:
            self._alarm.push(part, self._small[-1 - self._lag])
        return len(self._small) == 2 * self._lag + 1

    def places(self) -> tuple[Array, Array]:
        """Return pixels, shape (N, 2), and strengths, shape (N,), of change above threshold."""
        if self._blind:
            return np.zeros((0, 2)), np.zeros(0)
        before, now, after = self._small[0], self._small[self._lag], self._small[-1]
        if self._noise.due:
            self._noise.take(self._difference.change(before, now, after))
            if self.described:
                light = self._noise.light(now)
                self._backdrop = Backdrop(self._window, *self._noise.levels, *light)
            self._alarm.follow(self._noise.limit)
        limit = self._noise.limit
        # The middle of what changed asks for the change of every pixel.
        near = None if self.centred else self._alarm.squares()
        if near is None:
            rows, columns, change = self._difference.over(before, now, after, limit)
        else:
            frames = (before, now, after)
            rows, columns, change = self._difference.over_at(frames, limit, *near)
        # The limit is the threshold in whole numbers, except where it stands for all higher ones.
        beyond = np.flatnonzero(limit[rows, columns] == HIGHEST)
        if len(beyond):
            over = np.ones(len(rows), bool)
            over[beyond] = change[beyond] > self._noise.thresholds_at(rows[beyond], columns[beyond])
            rows, columns, change = rows[over], columns[over], change[over]
        rows, columns, sums = peaks(rows, columns, change, 3 * self._most, self._reach)
        self._noise.learn(len(rows))
        strength = sums / self._noise.level_at(rows, columns)
        self._weakest = 0.0
        if len(rows) > self._most:
            best = np.sort(np.argsort(-strength, kind="stable")[: self._most])
            rows, columns, strength = rows[best], columns[best], strength[best]
            self._weakest = float(strength.min())
        # The middle of four pixels, each of which is the mean of a square of them.
        middle = (2 * self._shrink - 1) / 2.0
        left, top = self._window[:2]
        if self.centred:
            at = _middles(self._difference.last, columns, rows)
        else:
            at = np.empty((len(rows), 2))
            at[:, 0], at[:, 1] = columns, rows
        at *= self._shrink
        at += middle
        at += (left, top)
        return at, strength

    @property
    def backdrop(self) -> Backdrop | None:
        """What the frame that `places` looked at is like where it found none."""
        if self._backdrop is None or self._weakest == self._backdrop.weakest:
            return self._backdrop
        return replace(self._backdrop, weakest=self._weakest)

    def cut(self, pixels: Array) -> Cutouts:
        """Cut twice the frame less both that it is held against, around places, shape (N, 2)."""
        before, now, after = self._squares[0], self._squares[self._lag], self._squares[-1]
        assert before is not None and now is not None and after is not None
        side = self._side
        corners = np.rint(pixels).astype(np.int64)
        corners -= side // 2
        np.maximum(corners, 0, out=corners)
        np.minimum(corners, np.subtract(self._size, side), out=corners)
        at = (corners[:, 1], corners[:, 0])
        patches = now[at].astype(np.int16)
        patches *= 2
        held = before[at].astype(np.int16)
        held += after[at]
        patches -= held
        edge = max((side - BEHIND_SIDE) // 2, 0)
        middle = held[:, edge : side - edge, edge : side - edge]
        return Cutouts(patches, corners, (middle >> 1).astype(np.uint8))


def _middles(change: Luma, columns: NDArray[np.int64], rows: NDArray[np.int64]) -> Array:
    """Return the middles of the change around squares of 2 by 2 pixels, shape (N, 2).

    Parameters
    ----------
    change : ndarray of uint8
    columns, rows : ndarray, shape (N,)
        Of the upper left pixel of each square.
    """
    side = 2 * MIDDLE_REACH + 2
    padded = np.pad(change, MIDDLE_REACH + 1)
    around = squares(padded, side)[rows + 1, columns + 1].astype(float)
    inner = around[:, MIDDLE_REACH : MIDDLE_REACH + 2, MIDDLE_REACH : MIDDLE_REACH + 2]
    weight = np.maximum(around - MIDDLE_LEVEL * inner.mean(axis=(1, 2), keepdims=True), 0.0)
    whole = np.maximum(weight.sum(axis=(1, 2)), 1e-6)
    offset = np.arange(side) - MIDDLE_REACH - 0.5
    return np.column_stack(
        [
            columns + (weight.sum(axis=1) @ offset) / whole,
            rows + (weight.sum(axis=2) @ offset) / whole,
        ]
    )


def shrink_of(diameter_px: float) -> int:
    """Return the whole number by which a picture is made smaller for a ball of some diameter."""
    return max(1, int(diameter_px / BALL_PX))


def _inside(window: Window, shape: tuple[int, int]) -> Window:
    """Return the part of a window that a picture of some rows and columns holds."""
    left, top = min(max(window[0], 0), shape[1]), min(max(window[1], 0), shape[0])
    return left, top, max(min(window[2], shape[1]), left), max(min(window[3], shape[0]), top)


def peaks(
    rows: NDArray[np.int64],
    columns: NDArray[np.int64],
    sums: NDArray[np.uint16],
    most: int,
    reach: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
    """Return rows, columns and sums of the pixels that rule their surroundings.

    They are thinned in a list: first the greatest of each block with a side of `reach` and one,
    of these the `most` greatest, then those with no greater one within `reach` pixels.
    """
    if len(sums) == 0:
        return rows, columns, sums.astype(float)
    # One number a pixel, sorted at once: by block, then by sum, then in reading order.
    width = int(columns.max()) + 1
    side = reach + 1
    block = (rows // side) * (width // side + 1) + columns // side
    keys = np.sort((block << 41) + ((4095 - sums.astype(np.int64)) << 29) + rows * width + columns)
    first = np.ones(len(keys), bool)
    first[1:] = keys[1:] >> 41 != keys[:-1] >> 41
    keys = keys[first]
    values = (4095 - (keys >> 29 & 4095)).astype(float)
    keep = np.argsort(-values, kind="stable")[:most]
    rows, columns = np.divmod(keys[keep] & ((1 << 29) - 1), width)
    values = values[keep]
    # Small numbers, of which many fit into a register.
    down, right = rows.astype(np.int16), columns.astype(np.int16)
    near = np.abs(down[:, None] - down) <= reach
    near &= np.abs(right[:, None] - right) <= reach
    # In order of value, so that one is ruled by whatever near it comes earlier; the first that
    # is near one is itself at the latest.
    free = np.argmax(near, axis=1) == np.arange(len(near))
    return rows[free], columns[free], values[free]
