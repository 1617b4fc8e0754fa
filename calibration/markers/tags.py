"""Printed tags (ArUco, AprilTag) as markers."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from calibration.markers.proposal import Proposal

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]


def find_tags(
    luma: Picture, names: Mapping[int, str], dictionary: str = "DICT_APRILTAG_36h11"
) -> tuple[Proposal, ...]:
    """Return proposals for markers that carry a printed tag: the middle of each tag.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
    names : mapping of int to str
        Number of each tag and the name of its marker; tags not listed are ignored.
    dictionary : str
        Name of the tags' dictionary in OpenCV: ``DICT_APRILTAG_36h11``, ``DICT_4X4_50`` ...

    Raises
    ------
    InputError
        If the dictionary is unknown, or one tag is seen at two places.
    """
    import cv2

    code = getattr(cv2.aruco, dictionary, None)
    if code is None:
        raise InputError(
            f"there is no tag dictionary {dictionary}",
            remedy="take one of OpenCV's, for instance DICT_APRILTAG_36h11 or DICT_4X4_50",
        )
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    tags = cv2.aruco.getPredefinedDictionary(code)
    corners, numbers, _ = cv2.aruco.ArucoDetector(tags, settings).detectMarkers(luma)
    seen = [] if numbers is None else [int(number) for number in np.asarray(numbers).ravel()]
    found: dict[int, Proposal] = {}
    for number, corner in zip(seen, corners, strict=True):
        if number not in names:
            continue
        if number in found:
            raise InputError(
                f"tag {number} is seen at two places", remedy="print each tag only once"
            )
        square = np.asarray(corner, float).reshape(4, 2)
        side = float(np.mean(np.linalg.norm(square - np.roll(square, 1, axis=0), axis=1)))
        low, high = np.floor(square.min(axis=0)), np.ceil(square.max(axis=0))
        found[number] = Proposal(
            name=names[number],
            pixel=_crossing(square),
            # Each corner is good to a tenth of a pixel, less where the tag is small (common
            # practice, no source); the crossing of the diagonals averages the four.
            pixel_u=float(np.hypot(0.1, 2.0 / side)),
            contrast=side,
            box_px=(int(low[0]), int(low[1]), int(high[0]), int(high[1])),
        )
    return tuple(found[number] for number in names if number in found)


def _crossing(square: Array) -> Array:
    """Return where the diagonals cross: the image of a tag's middle, whatever the perspective."""
    one, two = square[2] - square[0], square[3] - square[1]
    share = np.linalg.solve(np.column_stack([one, -two]), square[1] - square[0])[0]
    return np.asarray(square[0] + share * one, float)
