"""How the reference frame itself was sheared: its rows were read while the camera turned."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.steadiness.motion import SHEAR, Motion

Array = NDArray[np.float64]

READOUT_S, READOUT_U_S = 0.01, 0.006
"""Time from the first row to the last of a usual phone, and its standard uncertainty, s (common
practice, no source)."""

START_FRAMES, DEGREE = 7, 3
"""Frames at the beginning, and the degree of the polynomial through their turns that gives the rate
at the first."""

SHEAR_U_RAD = 1e-4
"""Least standard uncertainty of one frame's shear, rad: about a tenth of a pixel."""


def reference_shear(motions: Sequence[Motion], frame_s: float) -> Array:
    """Return by how much the turn grew while the reference frame was read, shape (3,), rad.

    A frame's shear is its rate of turning times the readout time. Each frame's shear
    is measured less the reference's, and the rates are those of the measured turns: a regression
    gives the readout time, and that times the reference's own rate is its shear.

    Parameters
    ----------
    motions : sequence of Motion
        Of the frames that follow the reference frame, one by one.
    frame_s : float
        True time from one frame to the next.
    """
    if len(motions) < START_FRAMES:
        return np.zeros(3)
    turns = np.vstack([np.zeros(3), *(each.turn_rad for each in motions)])
    times = frame_s * np.arange(START_FRAMES)
    # The turn is none at the reference, so the polynomial has no constant.
    powers = times[:, None] ** np.arange(1, DEGREE + 1)
    first = np.linalg.lstsq(powers, turns[:START_FRAMES], rcond=None)[0][0]
    rates = (turns[2:] - turns[:-2]) / (2.0 * frame_s)
    growth = rates - first
    seen = motions[: len(rates)]
    shears = np.array([each.parameters[SHEAR] for each in seen])
    spread = np.array([np.diag(each.covariance)[SHEAR] for each in seen]) + SHEAR_U_RAD**2
    weight = 1.0 / READOUT_U_S**2 + float(np.sum(growth**2 / spread))
    pull = READOUT_S / READOUT_U_S**2 + float(np.sum(growth * shears / spread))
    return np.asarray(first * max(pull / weight, 0.0), float)
