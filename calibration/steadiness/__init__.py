"""Motion of the camera since a reference frame, from the still background."""

from calibration.steadiness.motion import Motion, moved_pixels
from calibration.steadiness.reference import SteadyReference
from calibration.steadiness.rolling import Rolling, reference_rolling

__all__ = ["Motion", "Rolling", "SteadyReference", "moved_pixels", "reference_rolling"]
