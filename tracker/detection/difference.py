"""What stands in a frame and in neither of its neighbours."""

import cv2
import numpy as np
from numpy.typing import NDArray

Luma = NDArray[np.uint8]


class Difference:
    """Sum of absolute change over 3 by 3 pixels, against an earlier and a later frame at once.

    A pixel counts as changed by the lesser of its two differences, and only when both have
    the same sign: a thing that stays, comes to stay or leaves gives nothing, a slow change of
    light gives little, and a ball that has moved by more than its own size gives its full
    contrast. Buffers are made once, since fresh ones of this size cost page faults.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the frames.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self._limit = np.empty(shape, np.uint8)
        self._brighter = np.empty(shape, np.uint8)
        self._darker = np.empty(shape, np.uint8)
        self._change = np.empty(shape, np.uint8)
        self._sum = np.empty(shape, np.uint16)

    def __call__(self, before: Luma, now: Luma, after: Luma) -> NDArray[np.uint16]:
        """Return the summed change of `now`, valid until the next call."""
        cv2.max(before, after, dst=self._limit)
        cv2.subtract(now, self._limit, dst=self._brighter)
        cv2.min(before, after, dst=self._limit)
        cv2.subtract(self._limit, now, dst=self._darker)
        cv2.add(self._brighter, self._darker, dst=self._change)
        cv2.boxFilter(self._change, cv2.CV_16U, (3, 3), dst=self._sum, normalize=False)
        return self._sum
