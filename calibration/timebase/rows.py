"""When a row is read within its frame, and how a file's own clock runs against true time."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def row_fraction(pixels: ArrayLike, size_px: tuple[int, int], rotation_deg: int) -> Array:
    """Return where in the sensor's readout each pixel lies.

    Parameters
    ----------
    pixels : array_like, shape (N, 2)
        Column and row of the frame as shown.
    size_px : tuple of int
        Width and height as shown.
    rotation_deg : int
        Quarter turns counter-clockwise that bring the stored picture to the shown one.

    Returns
    -------
    ndarray, shape (N,)
        How much later than the middle of its frame each pixel is read, as a share of the time
        from the first to the last row of the sensor; a frame's time is that of its middle row.
        -0.5 in the first stored row, 0 in the middle of the frame, 0.5 in the last stored row.
    """
    places = np.asarray(pixels, float).reshape(-1, 2)
    along_columns = rotation_deg in (90, 270)
    last = size_px[0 if along_columns else 1] - 1
    if last <= 0:
        return np.zeros(len(places))
    fraction = places[:, 0 if along_columns else 1] / last - 0.5
    # Turned by 180 or 270 degrees, the first stored row is shown at the bottom or at the right.
    return -fraction if rotation_deg in (180, 270) else fraction


def true_times_s(file_times_s: ArrayLike, pace: float) -> Array:
    """Return true seconds from the first frame, shape (N,), of a clip that plays at a pace.

    Parameters
    ----------
    file_times_s : array_like, shape (N,)
        Times on the file's own clock, s.
    pace : float
        Playing seconds per true second: 8 for 240 frames a second shown at 30.
    """
    times = np.asarray(file_times_s, float)
    return np.asarray((times - times[0]) / pace, float)
