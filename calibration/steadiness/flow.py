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

LIGHT_PX = 41
"""Side of the square whose mean level counts as the light on a pixel, working px: two windows of
the optical flow. With half or twice as much the camera's motion comes out the same."""

EVEN_LEVEL, LEAST_LEVEL = 110.0, 4.0
"""Level that every part of an evenly lit picture has, and the least that is taken for light, luma
steps: a pixel twice as bright as what is around it stays below white."""


BLUR_PX = 1.5
"""Of pictures that are compared between pixels, working px: more, and cutting there smooths noise
no further. Common practice, no source."""


def reduced(luma: Luma, shrink: float) -> Luma:
    """Return a picture made smaller by a factor up to 1, each pixel the mean of those it covers."""
    import cv2

    if shrink == 1.0:
        return np.ascontiguousarray(luma)
    small = cv2.resize(luma, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8)


def evenly_lit(luma: Luma) -> Luma:
    """Return a picture divided by the light on each of its parts, the mean level around it.

    Following takes the light to be the same in two pictures. Clouds' shadows and automatic
    exposures change the gain, part by part; here the change goes out with the light, and what the
    picture shows moves as before.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
    """
    import cv2

    light = np.maximum(cv2.boxFilter(luma, cv2.CV_32F, (LIGHT_PX, LIGHT_PX)), LEAST_LEVEL)
    return np.asarray(cv2.divide(luma, light, scale=EVEN_LEVEL, dtype=cv2.CV_8U), np.uint8)


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


def explained(before: Luma, after: Luma, points: Array, places: Array) -> bool:
    """Return whether points of one picture look like another's places more than where they were.

    Flow that noise keeps near its start agrees with any motion; what the pictures show does not.

    Parameters
    ----------
    before, after : ndarray of uint8, shape (H, W)
    points, places : ndarray, shape (N, 2)
        In the first picture, and where a motion of the camera brings them in the second.
    """
    import cv2

    first, second = (
        np.asarray(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), BLUR_PX), np.float32)
        for picture in (before, after)
    )

    def windows(picture: NDArray[np.float32], middles: Array) -> Array:
        size = (WINDOW_PX, WINDOW_PX)
        cut = [cv2.getRectSubPix(picture, size, middle) for middle in middles.tolist()]
        return np.array(cut, np.float64)

    old = windows(first, points)
    still, moved = (windows(second, middles) - old for middles in (points, places))
    return bool(np.sum(moved.var(axis=(1, 2))) < np.sum(still.var(axis=(1, 2))))


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
