"""How far the camera moves while one frame is read, from its motion between frames."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.steadiness.motion import SHEAR, SHIFT, TURN, Motion

Array = NDArray[np.float64]

READOUT_S, READOUT_U_S = 0.01, 0.006
"""Time from the first row to the last of a usual phone, and its standard uncertainty, s (common
practice, no source)."""

LEAST_SHARE = 0.03
"""Least relative standard uncertainty of a readout that was found from the motion. From drawn clips
of one second."""

START_FRAMES, DEGREE = 7, 3
"""Frames at the beginning, and the degree of the polynomial through their motions that gives the
rate at the first."""

SHEAR_U_RAD = 1e-4
"""Least standard uncertainty of the turn within a frame, measured or predicted from three frames,
rad: about a tenth of a pixel. From drawn clips."""

LONGEST_GAP = 2
"""Most frames between two motions from which a rate is taken: a hand's swing of 3 Hz lasts twenty
frames of a sixtieth of a second."""


class Rolling(NamedTuple):
    """What the camera did while the reference frame was read, and how long that took.

    Attributes
    ----------
    shear_rad : ndarray, shape (3,)
        By how much the turn grew from the frame's first row to its last.
    growth_m : ndarray, shape (3,)
        By how much the shift grew.
    readout, u : float
        Time from the first row to the last, in frame intervals, and its standard uncertainty; 0 and
        0 where the motions do not show it.
    """

    shear_rad: Array
    growth_m: Array
    readout: float
    u: float


UNKNOWN = Rolling(np.zeros(3), np.zeros(3), 0.0, 0.0)
"""Of a reference frame that stood, or of which nothing is known."""


class RecentMotion:
    """The last two motions, and the rate at which a third one grows.

    A parabola through three motions gives the rate at the last.
    """

    def __init__(self) -> None:
        self._kept: list[tuple[int, Array]] = []

    def add(self, frame: int, parameters: Array) -> None:
        """Take the motion in a frame."""
        moved = np.r_[parameters[TURN], parameters[SHIFT]]
        self._kept = [*self._kept, (frame, moved)][-2:]

    def rate(self, frame: int, parameters: Array) -> Array | None:
        """Return by how much turn (rad) and shift (m) grow in one frame interval, shape (6,).

        None where the last two motions are not known or lie too far back.
        """
        if len(self._kept) < 2:
            return None
        (first, before), (second, last) = self._kept
        if not 0 < frame - second <= LONGEST_GAP or not 0 < second - first <= LONGEST_GAP:
            return None
        slope = (np.r_[parameters[TURN], parameters[SHIFT]] - last) / (frame - second)
        earlier = (last - before) / (second - first)
        rate: Array = slope + (slope - earlier) * (frame - second) / (frame - first)
        return rate


def reference_rolling(motions: Sequence[Motion], frame_s: float) -> Rolling:
    """Return what the camera did while the reference frame was read.

    A frame's shear is its rate of turning times the readout time. Each frame's shear is measured
    less the reference's, and the rates are those of the measured turns: a regression gives the
    readout time, and that times the reference's own rate is its shear.

    Parameters
    ----------
    motions : sequence of Motion
        Of the frames that follow the reference frame, one by one.
    frame_s : float
        True time from one frame to the next.
    """
    if len(motions) < START_FRAMES:
        return UNKNOWN
    moved = np.array([np.r_[each.parameters[TURN], each.parameters[SHIFT]] for each in motions])
    moved = np.vstack([np.zeros(6), moved])
    # In frame intervals; there is no motion at the reference, so the polynomial has no constant.
    powers = np.arange(START_FRAMES, dtype=float)[:, None] ** np.arange(1, DEGREE + 1)
    first = np.linalg.lstsq(powers, moved[:START_FRAMES], rcond=None)[0][0]
    growth = (moved[2:, :3] - moved[:-2, :3]) / 2.0 - first[:3]
    seen = motions[: len(growth)]
    shears = np.array([each.parameters[SHEAR] for each in seen])
    spread = np.array([np.diag(each.covariance)[SHEAR] for each in seen]) + SHEAR_U_RAD**2
    usual, usual_u = READOUT_S / frame_s, READOUT_U_S / frame_s
    weight = 1.0 / usual_u**2 + float(np.sum(growth**2 / spread))
    pull = usual / usual_u**2 + float(np.sum(growth * shears / spread))
    readout = max(pull / weight, 0.0)
    u = float(np.hypot(weight**-0.5, LEAST_SHARE * readout))
    return Rolling(first[:3] * readout, first[3:] * readout, readout, u)
