"""Markers: points of the ground that were taped and seen in the frame."""

from calibration.markers.marker import Marker

__all__ = ["Marker"]
