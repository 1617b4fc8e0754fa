"""Candidates from a stream of frames, each frame looked at once."""

from collections import deque
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.detection.difference import Difference, Luma
from tracker.detection.noise import NoiseMap
from tracker.records import Candidates


@dataclass(frozen=True)
class Look:
    """What the calibration says about how a ball will look in this clip.

    Attributes
    ----------
    diameter_px : float
        Typical diameter of the ball.
    step_px : float
        Typical path of the ball from one frame to the next.
    lag : int
        Frames between a frame and the neighbours that it is held against: enough for the
        ball to leave its own place.
    window : tuple of int
        First column, first row, end column, end row of the part of the frame in which a
        flight from the release point can show.
    most : int
        Candidates kept per frame.
    """

    diameter_px: float
    step_px: float
    lag: int
    window: tuple[int, int, int, int]
    most: int = 120

    @property
    def shrink(self) -> int:
        """Whole number by which frames are made smaller so that the ball is about 4 px."""
        return max(1, int(self.diameter_px / 4.0))

    @property
    def patch_half(self) -> int:
        """Half the side of a patch, less the middle pixel: ball, streak and a margin."""
        reach = self.diameter_px / 2.0 + self.step_px / 2.0 + 4.0
        return int(np.clip(np.ceil(reach), 6, 40))


@dataclass(frozen=True)
class _Kept:
    frame: int
    time_s: float
    luma: Luma
    small: Luma


class CandidateFinder:
    """Turns frames, given one by one, into candidates.

    A frame's candidates come `lag` frames later, since the frame is held against the ones
    before and after it. The first and the last `lag` frames of a clip have none.

    Parameters
    ----------
    look : Look
    """

    def __init__(self, look: Look) -> None:
        self._look = look
        self._kept: deque[_Kept] = deque(maxlen=2 * look.lag + 1)
        left, top, right, bottom = look.window
        shape = ((bottom - top) // look.shrink, (right - left) // look.shrink)
        self._shape = shape
        self._difference = Difference(shape)
        self._noise = NoiseMap(shape, wanted=0.5 * look.most)
        self._over = np.empty(shape, np.uint8)

    def push(self, frame: int, time_s: float, luma: Luma) -> Candidates | None:
        """Take the next frame; return the candidates of the frame `lag` frames ago.

        Parameters
        ----------
        frame : int
            Index in the clip.
        time_s : float
            True time, s.
        luma : ndarray of uint8, shape (rows, columns)
            Brightness as shown; must stay unchanged for two lags.
        """
        self._kept.append(_Kept(frame, time_s, luma, self._shrunk(luma)))
        if len(self._kept) < 2 * self._look.lag + 1:
            return None
        before, now, after = self._kept[0], self._kept[self._look.lag], self._kept[-1]
        change = self._difference(before.small, now.small, after.small)
        cv2.compare(change, self._noise.threshold(change), cv2.CMP_GT, dst=self._over)
        rows, columns, sums = _peaks(change, self._over, 3 * self._look.most)
        self._noise.learn(len(rows))
        strength = sums / self._noise.level_at(rows, columns)
        if len(rows) > self._look.most:
            best = np.sort(np.argsort(-strength, kind="stable")[: self._look.most])
            rows, columns, strength = rows[best], columns[best], strength[best]
        brighter = self._difference.brighter_at(rows, columns)
        left, top = self._look.window[:2]
        middle = (self._look.shrink - 1) / 2.0
        pixels = np.column_stack(
            [columns * self._look.shrink + middle + left, rows * self._look.shrink + middle + top]
        ).astype(float)
        patches, corners = self._patches(before.luma, now.luma, after.luma, pixels)
        return Candidates(
            frame=now.frame,
            time_s=now.time_s,
            pixels=pixels,
            strength=strength,
            brighter=brighter,
            patches=patches,
            corners=corners,
            noise=_edge_noise(patches),
        )

    def _shrunk(self, luma: Luma) -> Luma:
        left, top, right, bottom = self._look.window
        part = luma[top:bottom, left:right]
        if self._look.shrink == 1:
            return part
        rows, columns = self._shape
        part = part[: rows * self._look.shrink, : columns * self._look.shrink]
        small: Luma = cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)
        return small

    def _patches(
        self, before: Luma, now: Luma, after: Luma, pixels: NDArray[np.float64]
    ) -> tuple[NDArray[np.int16], NDArray[np.int64]]:
        """Cut twice the frame less both neighbours around each place."""
        half = self._look.patch_half
        height, width = now.shape
        side = min(2 * half + 1, height, width)
        corners = np.rint(pixels).astype(np.int64) - half
        corners[:, 0] = np.clip(corners[:, 0], 0, width - side)
        corners[:, 1] = np.clip(corners[:, 1], 0, height - side)
        patches = np.empty((len(corners), side, side), np.int16)
        for index, (column, row) in enumerate(corners.tolist()):
            at = (slice(row, row + side), slice(column, column + side))
            patch = patches[index]
            np.multiply(now[at], 2, out=patch, dtype=np.int16)
            patch -= before[at]
            patch -= after[at]
        return patches, corners


def _peaks(
    change: NDArray[np.uint16], over: NDArray[np.uint8], most: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return rows, columns and sums of the places over the threshold that rule their surroundings.

    Thresholded pixels are few, so they are thinned in a list: first the greatest of each
    block of 6 by 6, then those with no greater one within 5 pixels.
    """
    at = _set_pixels(over)
    width = over.shape[1]
    rows, columns = at // width, at % width
    values = change[rows, columns].astype(float)
    if len(at) == 0:
        return rows, columns, values
    block = (rows // 6) * (width // 6 + 1) + columns // 6
    order = np.lexsort((-values, block))
    first = np.ones(len(order), bool)
    first[1:] = block[order][1:] != block[order][:-1]
    keep = order[first]
    if len(keep) > most:
        keep = keep[np.argsort(-values[keep], kind="stable")[:most]]
    rows, columns, values = rows[keep], columns[keep], values[keep]
    near = (np.abs(rows[:, None] - rows) <= 5) & (np.abs(columns[:, None] - columns) <= 5)
    # Equal neighbours: the one that comes first in the list stays.
    rank = np.empty(len(values), np.int64)
    rank[np.argsort(-values, kind="stable")] = np.arange(len(values))
    ruled = (near & (rank[None, :] < rank[:, None])).any(axis=1)
    return rows[~ruled], columns[~ruled], values[~ruled]


def _set_pixels(over: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Return the flat indices of non-zero pixels, looking at eight at a time."""
    flat = over.reshape(-1)
    whole = len(flat) // 8 * 8
    words = np.flatnonzero(flat[:whole].view(np.uint64))
    inside = (words[:, None] * 8 + np.arange(8)).reshape(-1)
    inside = inside[flat[inside] != 0]
    tail = whole + np.flatnonzero(flat[whole:])
    return np.concatenate([inside, tail]).astype(np.int64)


def _edge_noise(patches: NDArray[np.int16]) -> NDArray[np.float64]:
    """Return the standard deviation of each patch's rim, robustly, in luma steps.

    Patches hold twice the luma less two neighbours; the figure is for half of that.
    """
    if len(patches) == 0:
        return np.zeros(0)
    rim = np.concatenate(
        [patches[:, :2].reshape(len(patches), -1), patches[:, -2:].reshape(len(patches), -1)],
        axis=1,
    )
    spread = 1.4826 * np.median(np.abs(rim), axis=1) / 2.0
    return np.maximum(spread, 0.6)
