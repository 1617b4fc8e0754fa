"""Markers: points of the ground that were taped and seen in the frame."""

from calibration.markers.finding import find_markers
from calibration.markers.marker import Marker, Plumb, point
from calibration.markers.proposal import Proposal
from calibration.markers.standing import Look, find_standing
from calibration.markers.tags import find_tags

__all__ = [
    "Look",
    "Marker",
    "Plumb",
    "Proposal",
    "find_markers",
    "find_standing",
    "find_tags",
    "point",
]
