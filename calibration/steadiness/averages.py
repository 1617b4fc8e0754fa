"""Whether a camera stands although single frames are too noisy to show it: means of many do."""

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from calibration.steadiness.motion import Motion, still
from calibration.steadiness.standing import may_stand

Array = NDArray[np.float64]
Luma = NDArray[np.uint8]

NOISY_PX = 0.20
"""Scatter of the points about a fitted motion, working px, above which noise decides what is
fitted: 0.04 to 0.07 by day, up to 0.13 in coded clips and 0.19 where a tripod trembles; from 0.23
on at dusk where that looks like a motion. From drawn and filmed clips."""

PUT_OFF_PX = 2.0
"""A hand moves the picture by as much from one frame to the next, working px (common practice, no
source). While there are no means yet, a smaller shift of a noisy picture is taken for chance, and
so is a larger one that few points agree on, unless the frame looked at before showed it too, to
within as much."""

PLAIN_SHARE = 0.75
"""Share of the points from which on a large motion is no chance: 0.9 agree with a jump of a clear
picture, 0.6 with one that noise made. From drawn clips."""

FIRST, RECENT, FEWEST = 12, 12, 6
"""Frames in the first mean, in the running one, and in the latter at least. Noise falls to a third:
from dusk to day."""


TINY_RAD = 1e-9
"""Keeps a quotient by a turn finite, rad."""


Explains = Callable[[Luma, Motion], bool]
"""Whether a frame of working size looks more like the reference after a motion than without one."""


class Follower(Protocol):
    """What follows the background from one picture to another."""

    def measured(self, luma: Luma) -> Motion:
        """Return the motion in a picture."""


class Averages:
    """The mean of a standing camera's first frames against the running mean of the latest.

    In noise the optical flow stays near the place from which it starts, so that all points agree
    with any small motion that is tried. That agreement differs from frame to frame, and is no
    motion of the means.

    Parameters
    ----------
    follower_of : callable
        Returns what follows the background from a picture of working size; raises `InputError`
        where that shows too few points.
    shrink : float
        Working pixels in a pixel of the frame.
    """

    def __init__(self, follower_of: Callable[[Luma], Follower], shrink: float) -> None:
        self._follower_of, self._shrink = follower_of, shrink
        self._follower: Follower | None = None
        self._count = 0
        self.stood = False
        """Whether the means showed that the camera stood, when they were last looked at."""
        self._before: tuple[int, Array] | None = None
        """The last motion of a noisy frame that was taken for chance, and when."""

    @property
    def begun(self) -> bool:
        """Whether a frame was noisy, so that means are kept from then on."""
        return self._count > 0

    def add(self, small: Luma) -> None:
        """Take a frame in its working size."""
        import cv2

        if not self.begun:
            self._first, self._recent = (np.zeros(small.shape, np.float32) for _ in range(2))
        self._count += 1
        later = self._count - FIRST
        if later <= 0:
            cv2.accumulateWeighted(small, self._first, 1.0 / self._count)
        else:
            cv2.accumulateWeighted(small, self._recent, max(1.0 / later, 1.0 / RECENT))

    def checked(self, motion: Motion, scatter_px: float, small: Luma, explains: Explains) -> Motion:
        """Return a motion of a camera that stood so far, none where noise has made it.

        Parameters
        ----------
        motion : Motion
        scatter_px : float
            Scatter of the points about it, by the weights that they have in it, px of the frame.
        small : ndarray of uint8, shape (H, W)
            The frame in its working size, from which means are begun.
        explains : callable
        """
        if not motion.lost and scatter_px * self._shrink <= NOISY_PX:
            return motion
        if not self.begun:
            self.add(small)
        stands = self.stands()
        if stands is None:
            stands = not motion.lost and not (self._goes_on(motion) and explains(small, motion))
        return still(motion.shift_px, motion.agreement) if stands else motion

    def _goes_on(self, motion: Motion) -> bool:
        """Return whether a motion is large, and plain or much the same as in the look before."""
        shift_px, turn = motion.shift_px * self._shrink, motion.turn_rad
        before, self._before = self._before, (self._count, turn)
        if shift_px < PUT_OFF_PX:
            return False
        if motion.agreement >= PLAIN_SHARE:
            return True
        if before is None or self._count > before[0] + 1:
            return False
        px_per_rad = shift_px / max(float(np.linalg.norm(turn)), TINY_RAD)
        return float(np.linalg.norm(turn - before[1])) * px_per_rad < PUT_OFF_PX

    def stands(self) -> bool | None:
        """Return whether the means show no motion; None where they do not show it either."""
        self.stood = False
        if self._count < FIRST + FEWEST:
            return None
        try:
            if self._follower is None:
                self._follower = self._follower_of(np.rint(self._first).astype(np.uint8))
        except InputError:
            return None
        motion = self._follower.measured(np.rint(self._recent).astype(np.uint8))
        stands = not motion.significant or may_stand(motion, moves=False)
        self.stood = stands and not motion.lost
        return self.stood
