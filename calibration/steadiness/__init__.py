"""Motion of the camera since a reference frame, from the still background."""

from calibration.steadiness.motion import Motion, moved_pixels
from calibration.steadiness.reference import SteadyReference
from calibration.steadiness.shear import reference_shear

__all__ = ["Motion", "SteadyReference", "moved_pixels", "reference_shear"]
