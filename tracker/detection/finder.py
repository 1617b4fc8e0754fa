"""Candidates from a stream of frames, each frame looked at once."""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.detection.component import Component
from tracker.detection.difference import Luma
from tracker.records import Candidates

Array = NDArray[np.float64]

SAME_PX = 6.0
"""Places in two components that lie this near to one another are one candidate."""


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
    def patch_half(self) -> int:
        """Half the side of a patch, less the middle pixel: ball, streak and a margin."""
        reach = self.diameter_px / 2.0 + self.step_px / 2.0 + 4.0
        return int(np.clip(np.ceil(reach), 6, 40))


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
        self._times: deque[tuple[int, float]] = deque(maxlen=look.lag + 1)
        self._luma: Component | None = None
        self._blueness: Component | None = None

    def push(
        self, frame: int, time_s: float, luma: Luma, blueness: Luma | None = None
    ) -> Candidates | None:
        """Take the next frame; return the candidates of the frame `lag` frames ago.

        Parameters
        ----------
        frame : int
            Index in the clip.
        time_s : float
            True time, s.
        luma : ndarray of uint8, shape (rows, columns)
            Brightness as shown; must stay unchanged for two lags.
        blueness : ndarray of uint8, shape (rows / 2, columns / 2), optional
            Blue difference.
        """
        self._times.append((frame, time_s))
        if self._luma is None:
            self._begin(luma, blueness)
        assert self._luma is not None
        ready = self._luma.push(luma)
        if self._blueness is not None and blueness is not None:
            self._blueness.push(blueness)
        if not ready:
            return None
        pixels, strength = self._luma.places()
        if self._blueness is None:
            tinted = None
        else:
            pixels, strength = _joined(pixels, strength, *self._blueness.places())
            tinted = self._blueness.cut((pixels - 0.5) / 2.0)
        return Candidates(*self._times[0], pixels, strength, self._luma.cut(pixels), tinted)

    def _begin(self, luma: Luma, blueness: Luma | None) -> None:
        look = self._look
        half, most = look.patch_half, look.most
        self._luma = Component(
            (luma.shape[0], luma.shape[1]), look.window, look.diameter_px, look.lag, half, most
        )
        if blueness is not None:
            left, top, right, bottom = look.window
            self._blueness = Component(
                (blueness.shape[0], blueness.shape[1]),
                (left // 2, top // 2, right // 2, bottom // 2),
                look.diameter_px / 2.0,
                look.lag,
                half // 2 + 2,
                most // 2,
            )


def _joined(
    pixels: Array, strength: Array, tint_pixels: Array, tint_strength: Array
) -> tuple[Array, Array]:
    """Return the candidates of both components, what lies together counted once."""
    tint_pixels = 2.0 * tint_pixels + 0.5
    if len(pixels) == 0:
        return tint_pixels, tint_strength
    if len(tint_pixels) == 0:
        return pixels, strength
    gap = np.max(np.abs(tint_pixels[:, None] - pixels), axis=2)
    nearest = np.argmin(gap, axis=1)
    same = gap[np.arange(len(gap)), nearest] <= SAME_PX
    best = strength.copy()
    np.maximum.at(best, nearest[same], tint_strength[same])
    return (
        np.concatenate([pixels, tint_pixels[~same]]),
        np.concatenate([best, tint_strength[~same]]),
    )
