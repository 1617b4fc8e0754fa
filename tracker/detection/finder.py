"""Candidates from a stream of frames, each frame looked at once."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from tracker.detection.component import BALL_PX, Component
from tracker.detection.difference import Luma
from tracker.detection.settings import SearchSettings
from tracker.records import Candidates, no_cutouts

Array = NDArray[np.float64]

CENTRED_PX = 3.0
"""Least diameter of a ball whose middle is looked for, in a picture made smaller, px."""

SAME_PX = 6.0
"""Places in luma and colour this near to each other are one candidate, px: a colour pixel is twice
as wide, and its siting unknown."""


class CandidateFinder:
    """Turns frames, given one by one, into candidates.

    A frame's candidates come `lag` frames later, since an earlier and a later frame are
    subtracted from it. The first and the last `lag` frames of a clip have none.

    Parameters
    ----------
    settings : SearchSettings
    cutouts : bool
        Whether candidates come with their cutouts, and with what the frame is like beside them.
    """

    def __init__(self, settings: SearchSettings, cutouts: bool = True) -> None:
        self._settings, self._cutouts = settings, cutouts
        self._times: deque[tuple[int, float]] = deque(maxlen=settings.lag + 1)
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
        if self._blueness is not None:
            pixels, strength = _joined(pixels, strength, *self._blueness.places())
        if not self._cutouts:
            return Candidates(*self._times[0], pixels, strength, no_cutouts(len(pixels)), None)
        colour = None if self._blueness is None else self._blueness.cut((pixels - 0.5) / 2.0)
        components = (self._luma, self._blueness)
        backdrops = [each.backdrop for each in components if each is not None]
        return Candidates(
            *self._times[0],
            pixels,
            strength,
            self._luma.cut(pixels),
            colour,
            backdrops=tuple(each for each in backdrops if each is not None),
        )

    def _begin(self, luma: Luma, blueness: Luma | None) -> None:
        settings = self._settings
        half, most = settings.patch_half, settings.most
        # A picture is made smaller until the ball is so wide: wider where its middle is wanted.
        diameter_px = settings.diameter_px * (BALL_PX / CENTRED_PX if settings.centred else 1.0)
        self._luma = Component(
            (luma.shape[0], luma.shape[1]),
            settings.window,
            diameter_px,
            settings.lag,
            half,
            most,
        )
        self._luma.centred, self._luma.described = settings.centred, self._cutouts
        if blueness is not None and min(blueness.shape) > 0:
            left, top, right, bottom = settings.window
            self._blueness = Component(
                (blueness.shape[0], blueness.shape[1]),
                (left // 2, top // 2, right // 2, bottom // 2),
                diameter_px / 2.0,
                settings.lag,
                half // 2 + 2,
                most // 2,
            )
            self._blueness.centred, self._blueness.described = settings.centred, self._cutouts


def _joined(
    pixels: Array, strength: Array, colour_pixels: Array, colour_strength: Array
) -> tuple[Array, Array]:
    """Return the candidates of both components, near ones counted once."""
    colour_pixels = 2.0 * colour_pixels + 0.5
    if len(pixels) == 0:
        return colour_pixels, colour_strength
    if len(colour_pixels) == 0:
        return pixels, strength
    gap = np.max(np.abs(colour_pixels[:, None] - pixels), axis=2)
    nearest = np.argmin(gap, axis=1)
    same = gap[np.arange(len(gap)), nearest] <= SAME_PX
    best = strength.copy()
    np.maximum.at(best, nearest[same], colour_strength[same])
    return (
        np.concatenate([pixels, colour_pixels[~same]]),
        np.concatenate([best, colour_strength[~same]]),
    )
