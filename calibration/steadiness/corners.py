"""Points of a picture that can be followed: corners spread over it."""

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]

FEWEST_POINTS = 12
"""Points below which no motion is fitted: four for each of the three parameters of its turn."""

CELLS = (16, 10)
"""Cells across and down; one point is followed in each. Chosen for time."""

WINDOW_PX = 11
"""Side of the window in which a point is compared, px of the working picture."""

BLOCK = 7
"""Side of the window over which a corner's strength is summed, working px."""

BLURRED_PX = 0.1
"""Corners that noise alone would move by more are not followed, working px."""


def check_size(luma: Luma, size_px: tuple[int, int]) -> None:
    """Raise `InputError` where a frame has another size than its camera."""
    if (luma.shape[1], luma.shape[0]) != tuple(size_px):
        raise InputError(
            f"the frame has {luma.shape[1]} x {luma.shape[0]} pixels and the camera was "
            f"calibrated on {size_px[0]} x {size_px[1]}",
            remedy="calibrate the camera on a frame of this clip",
        )


def enough_corners(small: Luma) -> Array:
    """Return `corners`; raise `InputError` where they are too few to show a motion."""
    points = corners(small)
    if len(points) < FEWEST_POINTS:
        raise InputError(
            f"the picture shows only {len(points)} points that can be "
            "followed, so the camera's motion cannot be measured",
            remedy="film with more of the surroundings in the frame",
        )
    return points


def corners(small: Luma) -> Array:
    """Return corners spread over the picture, shape (N, 2): the strongest of each cell.

    A corner counts where noise moves it little: in the sky the strongest corner is noise.
    """
    import cv2

    # OpenCV scales the gradients by 2 / (block * 255); undone here: levels per pixel.
    strength = cv2.cornerMinEigenVal(small, BLOCK) * (BLOCK * 255.0 / 2.0) ** 2
    share = (WINDOW_PX / BLOCK) ** 2
    least = 2.0 * (_noise(small) / BLURRED_PX) ** 2 / share
    height, width = small.shape
    margin = WINDOW_PX // 2 + 1
    found = []
    for i in range(CELLS[1]):
        for j in range(CELLS[0]):
            top, bottom = (round(height * (i + k) / CELLS[1]) for k in (0, 1))
            left, right = (round(width * (j + k) / CELLS[0]) for k in (0, 1))
            top, bottom = max(top, margin), min(bottom, height - margin)
            left, right = max(left, margin), min(right, width - margin)
            cell = strength[top:bottom, left:right]
            if cell.size and cell.max() > least:
                row, column = np.unravel_index(int(np.argmax(cell)), cell.shape)
                found.append((left + column, top + row))
    return np.array(found, float).reshape(-1, 2)


def _noise(small: Luma) -> float:
    """Return the noise of the flattest tenth of the picture, levels (Immerkaer 1996)."""
    import cv2

    kernel = np.array([[1.0, -2.0, 1.0], [-2.0, 4.0, -2.0], [1.0, -2.0, 1.0]])
    rough = np.abs(cv2.filter2D(small, cv2.CV_32F, kernel))
    # A strip of a frame may be less than one block of 16 pixels high.
    fy, fx = (max(1.0 / 16.0, 1.0 / length) for length in rough.shape)
    blocks = cv2.resize(rough, None, fx=fx, fy=fy, interpolation=cv2.INTER_AREA)
    return max(0.5, float(np.percentile(blocks, 10) * np.sqrt(np.pi / 2.0) / 6.0))
