"""Where the points of one picture lie in another, and by how much all of it has moved."""

import numpy as np
from numpy.typing import NDArray

from calibration.steadiness.corners import WINDOW_PX

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]

LEVELS = 2
"""Pyramid levels of the optical flow above the first. Chosen for time."""

MOST_STEPS, LEAST_STEP_PX = 12, 0.01
"""Steps of the optical flow at most on each level, and the one that ends it. Chosen for time."""

COARSE_WIDTH = 240
"""Longer side of the picture in which a jump is searched for, px. Chosen for time."""

LEAST_CHANGE = 0.05
"""A smaller relative change of the light is left alone: where the camera moves, levels vary without
a change of light, and to correct 2 % disturbs what is followed. From drawn clips."""


def reduced(luma: Luma, shrink: float) -> Luma:
    """Return a picture made smaller by a factor up to 1, each pixel the mean of those it covers."""
    import cv2

    if shrink == 1.0:
        return np.ascontiguousarray(luma)
    small = cv2.resize(luma, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8)


def means_at(small: Luma, places: Array) -> Array:
    """Return the mean level of the window around each place, shape (N,)."""
    import cv2

    height, width = small.shape
    means = cv2.blur(small, (WINDOW_PX, WINDOW_PX))
    at = np.rint(np.nan_to_num(places)).astype(np.int64)
    found = means[np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)]
    return found.astype(np.float64)


def relit(small: Luma, means: Array, before: Array) -> Luma:
    """Return a picture in the light of another: following takes light to be the same in both.

    Clouds and automatic exposures change the gain. The contrast shows it less surely than the level
    does, as an encoder that lacks bits takes contrast away.

    Parameters
    ----------
    small : ndarray of uint8, shape (H, W)
    means, before : ndarray, shape (N,)
        Levels around the same points in this picture and in the other.
    """
    import cv2

    gain = float(np.median(before / np.maximum(means, 1.0)))
    if abs(gain - 1.0) < LEAST_CHANGE:
        return small
    return np.asarray(cv2.convertScaleAbs(small, alpha=gain), np.uint8)


def followed(
    before: Luma, after: Luma, points: Array, start: Array
) -> tuple[NDArray[np.bool_], Array]:
    """Return which points were found again, and where (Lucas and Kanade 1981; Bouguet 2001).

    Parameters
    ----------
    before, after : ndarray of uint8, shape (H, W)
    points, start : ndarray, shape (N, 2)
        Points of the first picture, and where they are expected in the second.
    """
    import cv2

    places, found, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        points.astype(np.float32),
        start.astype(np.float32),
        winSize=(WINDOW_PX, WINDOW_PX),
        maxLevel=LEVELS,
        criteria=(cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, MOST_STEPS, LEAST_STEP_PX),
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
    )
    return np.asarray(found).ravel() == 1, np.asarray(places, np.float64).reshape(-1, 2)


def whole_shift(before: Luma, after: Luma) -> Array:
    """Return by how much a whole picture has moved, columns and rows, px, by phase correlation."""
    import cv2

    shrink = min(1.0, COARSE_WIDTH / max(before.shape))
    first, second = (
        cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA).astype(
            np.float32
        )
        for picture in (before, after)
    )
    window = cv2.createHanningWindow(first.shape[::-1], cv2.CV_32F)
    (column, row), _ = cv2.phaseCorrelate(first, second, window)
    return np.array([column / shrink, row / shrink])
