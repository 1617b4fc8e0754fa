"""Candidates from a stream of frames, each frame looked at once."""

from collections import deque
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tracker.detection.component import BALL_PX, Component, Found
from tracker.detection.difference import Luma
from tracker.detection.settings import ComponentSettings, SearchSettings
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
    subtracted from it, or some more, since some frames are looked at together. The first and the
    last `lag` frames of a clip have none.

    Parameters
    ----------
    settings : SearchSettings
    cutouts : bool
        Whether candidates come with their cutouts, and with what the frame is like beside them.
    """

    def __init__(self, settings: SearchSettings, cutouts: bool = True) -> None:
        self._settings, self._cutouts = settings, cutouts
        self._times: deque[tuple[int, float]] = deque()
        self._luma: Component | None = None
        self._blueness: Component | None = None
        self._together = 1
        self._narrow = False

    def push(
        self, frame: int, time_s: float, luma: Luma, blueness: Luma | None = None
    ) -> list[Candidates]:
        """Take the next frame; return the candidates of the frames that are looked at with it.

        Parameters
        ----------
        frame : int
            Index in the clip.
        time_s : float
            True time, s.
        luma : ndarray of uint8, shape (rows, columns)
            Brightness as shown; must stay unchanged until the candidates of the frame `lag` frames
            later have come.
        blueness : ndarray of uint8, shape (rows / 2, columns / 2), optional
            Blue difference.
        """
        self._times.append((frame, time_s))
        if self._luma is None:
            self._begin(luma, blueness)
        assert self._luma is not None
        self._luma.push(luma)
        if blueness is None:
            self._blueness = None
        if self._blueness is not None and blueness is not None:
            self._blueness.push(blueness)
        if self._luma.ready < min(self._luma.run, self._together):
            return []
        return self._next(self._luma.ready)

    def narrow(self) -> None:
        """Find candidates in the window only from now on."""
        self._narrow = True

    def finish(self) -> list[Candidates]:
        """Return, after the last frame, the candidates that were not looked at yet."""
        ready = 0 if self._luma is None else self._luma.ready
        return self._next(ready) if ready else []

    def _next(self, count: int) -> list[Candidates]:
        """Return the candidates of the next frames."""
        assert self._luma is not None
        components = [each for each in (self._luma, self._blueness) if each is not None]
        if self._narrow:
            for each in components:
                each.narrow()
        found, everywhere = self._luma.places(count)
        if self._blueness is not None:
            in_colour, all_in_colour = self._blueness.places(count)
            found, everywhere = _joined(found, in_colour), _joined(everywhere, all_in_colour)
        given = []
        whole = self._settings.everywhere and not self._narrow
        both = (_each(one, count) for one in (found, everywhere))
        for at, (near, all_found) in enumerate(zip(*both, strict=True)):
            when = self._times[at + self._settings.lag]
            candidates = self._candidates(at, when, *near)
            given.append(replace(candidates, everywhere=all_found) if whole else candidates)
        for each in components:
            each.passed(count)
        for _ in range(count):
            self._times.popleft()
        return given

    def _candidates(
        self, at: int, when: tuple[int, float], pixels: Array, strength: Array
    ) -> Candidates:
        """Return the candidates of one of the frames that are looked at, with their cutouts."""
        if not self._cutouts:
            return Candidates(*when, pixels, strength, no_cutouts(len(pixels)), None)
        assert self._luma is not None
        colour = self._blueness
        backdrops = [each.backdrop(at) for each in (self._luma, colour) if each is not None]
        return Candidates(
            *when,
            pixels,
            strength,
            self._luma.cut(at, pixels),
            None if colour is None else colour.cut(at, (pixels - 0.5) / 2.0),
            backdrops=tuple(each for each in backdrops if each is not None),
        )

    def _begin(self, luma: Luma, blueness: Luma | None) -> None:
        settings = self._settings
        half, most = settings.patch_half, settings.most
        # A picture is made smaller until the ball is so wide: wider where its middle is wanted.
        diameter_px = settings.diameter_px * (BALL_PX / CENTRED_PX if settings.centred else 1.0)
        kinds = settings.centred, self._cutouts, settings.everywhere
        self._luma = Component(
            (luma.shape[0], luma.shape[1]),
            ComponentSettings(settings.window, diameter_px, settings.lag, half, most, *kinds),
        )
        if blueness is not None and min(blueness.shape) > 0:
            left, top, right, bottom = settings.window
            window = left // 2, top // 2, right // 2, bottom // 2
            self._blueness = Component(
                (blueness.shape[0], blueness.shape[1]),
                ComponentSettings(
                    window, diameter_px / 2.0, settings.lag, half // 2 + 2, most // 2, *kinds
                ),
            )
        components = [each for each in (self._luma, self._blueness) if each is not None]
        self._together = min(each.together for each in components)


def _each(found: Found, count: int) -> list[tuple[Array, Array]]:
    """Return the pixels and strengths of each of some frames."""
    ends = np.searchsorted(found.frames, np.arange(count + 1)).tolist()
    parts = (slice(*each) for each in pairwise(ends))
    return [(found.pixels[part], found.strength[part]) for part in parts]


def _joined(luma: Found, colour: Found) -> Found:
    """Return the candidates of both components, near ones counted once."""
    colour = replace(colour, pixels=2.0 * colour.pixels + 0.5)
    if len(luma.frames) == 0:
        return colour
    if len(colour.frames) == 0:
        return luma
    gap = np.max(np.abs(colour.pixels[:, None] - luma.pixels), axis=2)
    gap[colour.frames[:, None] != luma.frames] = np.inf
    nearest = np.argmin(gap, axis=1)
    same = gap[np.arange(len(gap)), nearest] <= SAME_PX
    best = luma.strength.copy()
    np.maximum.at(best, nearest[same], colour.strength[same])
    frames = np.concatenate([luma.frames, colour.frames[~same]])
    order = np.argsort(frames, kind="stable")
    return Found(
        frames[order],
        np.concatenate([luma.pixels, colour.pixels[~same]])[order],
        np.concatenate([best, colour.strength[~same]])[order],
    )
