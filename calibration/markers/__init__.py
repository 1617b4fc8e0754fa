"""Markers: points of the ground that were taped and seen in the frame."""

from calibration.markers.marker import Marker, Plumb

__all__ = ["Marker", "Plumb"]
