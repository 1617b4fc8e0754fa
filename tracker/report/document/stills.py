"""Pictures made small enough to travel inside a report."""

import cv2
import numpy as np

STILL_WIDTH_PX = 1280
"""Width of a picture in a report: sharp on paper, a quarter of a megabyte."""
JPEG_QUALITY = 82
"""Of 100; artefacts do not show on paper (common practice, no source)."""


def smaller(picture: bytes, width_px: int = STILL_WIDTH_PX) -> bytes:
    """Return a picture file as a JPEG file no wider than that; nothing where it cannot be read.

    Parameters
    ----------
    picture : bytes
        A JPEG or PNG file.
    width_px : int
    """
    image = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR) if picture else None
    if image is None:
        return b""
    height, width = image.shape[:2]
    if width > width_px:
        size = (width_px, max(1, round(height * width_px / width)))
        image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    made, file = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return file.tobytes() if made else b""
