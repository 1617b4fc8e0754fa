"""Finding the markers of a picture, by their tags and by their shape."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.markers.marker import Marker
from calibration.markers.proposal import Proposal
from calibration.markers.standing import Look, find_standing
from calibration.markers.tags import find_tags

Picture = NDArray[np.uint8]


def find_markers(
    picture: Picture,
    camera: Camera,
    markers: Iterable[Marker],
    look: Look,
    tags: Mapping[int, str],
) -> tuple[Proposal, ...]:
    """Return proposals for markers, in their order; those that were not found are left out.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.
    camera : Camera
        As known so far, with its covariance.
    markers : iterable of Marker
    look : Look
        Of the markers that carry no tag.
    tags : mapping of int to str
        Number of each printed tag and the name of its marker.

    Raises
    ------
    InputError
        If one tag is seen at two places.
    """
    import cv2

    wanted = tuple(markers)
    tagged = set(tags.values())
    untagged = [marker for marker in wanted if marker.name not in tagged]
    found = list(find_standing(picture, camera, untagged, look))
    if tags:
        luma = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
        found.extend(find_tags(luma, tags))
    by_name = {proposal.name: proposal for proposal in found}
    return tuple(by_name[marker.name] for marker in wanted if marker.name in by_name)
