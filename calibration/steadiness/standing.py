"""Whether a measured motion is one that the picture has to be corrected for."""

import numpy as np

from calibration.steadiness.motion import Motion

CHI_SQUARE_999 = 29.588
"""99.9 % point of chi-square with ten degrees of freedom: a motion below it may be chance."""

WORTH_PX = 0.1
"""A smaller shift of the picture, px, is left out: a ball is not placed better than that."""

MOVED_PX = 0.25
"""A camera that has not moved so far is taken to stand where the picture has shifted by less than
this, px: on still tripods an encoder shifts it by up to 0.23 px. From filmed clips."""


def may_stand(motion: Motion, moves: bool) -> bool:
    """Return whether a motion may be chance, or too small to be taken out.

    Parameters
    ----------
    motion : Motion
        As measured.
    moves : bool
        Whether the camera is known to move: then smaller shifts are taken out too.
    """
    fit = motion.parameters
    surprise = float(fit @ np.linalg.solve(motion.covariance, fit))
    return surprise <= CHI_SQUARE_999 or motion.shift_px <= (WORTH_PX if moves else MOVED_PX)
