"""Markers: points of the ground that were taped and seen in the frame."""

from typing import TYPE_CHECKING

from calibration.later import later
from calibration.markers.marker import Marker, Plumb, point

if TYPE_CHECKING:
    from calibration.markers.finding import find_markers
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

__getattr__ = later(
    __name__,
    {
        "finding": "find_markers",
        "proposal": "Proposal",
        "standing": "Look find_standing",
        "tags": "find_tags",
    },
)
