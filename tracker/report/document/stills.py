"""Pictures made small enough to travel inside a report."""

import cv2
import numpy as np

STILL_WIDTH_PX = 1280
"""Width of a picture in a report: sharp on paper, a quarter of a megabyte."""
JPEG_QUALITY = 82
"""Of 100; artefacts do not show on paper (common practice, no source)."""


def smaller(picture: bytes) -> bytes:
    """Return a picture file as a JPEG file, not too wide; nothing where it cannot be read.

    Parameters
    ----------
    picture : bytes
        A JPEG or PNG file.
    """
    image = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR) if picture else None
    if image is None:
        return b""
    height, width = image.shape[:2]
    if width > STILL_WIDTH_PX:
        size = (STILL_WIDTH_PX, max(1, round(height * STILL_WIDTH_PX / width)))
        image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    made, file = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return file.tobytes() if made else b""
