"""Markers: points of the ground that were taped and seen in the frame."""

from calibration.markers.coloured import COLOURS, Look, find_coloured
from calibration.markers.finding import find_markers
from calibration.markers.marker import Marker, Plumb, point
from calibration.markers.proposal import Proposal
from calibration.markers.tags import find_tags

__all__ = [
    "COLOURS",
    "Look",
    "Marker",
    "Plumb",
    "Proposal",
    "find_coloured",
    "find_markers",
    "find_tags",
    "point",
]
