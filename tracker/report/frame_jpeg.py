"""Single frames of a clip as JPEG files, for a screen that cannot decode the clip itself."""

import numpy as np

from calibration.errors import InputError
from tracker.video import ClipFacts
from tracker.video.pictures import picture
from tracker.video.pixels import Image

QUALITY = 85
"""JPEG quality: a ball of two pixels keeps its shape. Common practice, no source."""


def frame_jpeg(facts: ClipFacts, index: int, width_px: int | None = None) -> bytes:
    """Return one frame as shown.

    Parameters
    ----------
    facts : ClipFacts
    index : int
        From 0.
    width_px : int, optional
        A frame that is wider is made smaller.

    Raises
    ------
    InputError
        Where the clip has no such frame, or it cannot be decoded.
    """
    return _encoded(_fitted(picture(facts, index), width_px), facts)


def _fitted(image: Image, width_px: int | None) -> Image:
    import cv2

    height, width = image.shape[:2]
    if width_px is None or width <= width_px:
        return image
    size = (width_px, max(1, round(height * width_px / width)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def _encoded(image: Image, facts: ClipFacts) -> bytes:
    import cv2

    made, file = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not made:
        raise InputError("a frame cannot be written as a picture", where=str(facts.path))
    return bytes(file.tobytes())
