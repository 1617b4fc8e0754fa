"""Decoded frames to pictures as shown: turned, stretched, 8 bits."""

import math
from fractions import Fraction
from typing import Any, cast

import numpy as np
from av.sidedata.sidedata import Type as SideDataType
from av.video.frame import VideoFrame
from numpy.typing import NDArray

Image = NDArray[np.uint8]

_TURNS = {90: "ROTATE_90_COUNTERCLOCKWISE", 180: "ROTATE_180", 270: "ROTATE_90_CLOCKWISE"}
"""OpenCV's name of each turn counter-clockwise, degrees."""

LEAST_ROWS = 4
"""Fewest rows of a plane that holds two fields: two of each."""


def shown_size(
    stored_size_px: tuple[int, int], pixel_aspect: Fraction, rotation_deg: int
) -> tuple[int, int]:
    """Return width and height as shown, of a frame stored with pixels that may not be square.

    The shorter side of a pixel is stretched, so that nothing that was stored is lost.
    """
    width, height = stored_size_px
    if pixel_aspect > 1:
        width = round(width * pixel_aspect)
    elif pixel_aspect < 1:
        height = round(height / pixel_aspect)
    return (height, width) if rotation_deg in (90, 270) else (width, height)


def rotation_deg_of(frame: VideoFrame) -> int:
    """Return the rotation flag as quarter turns counter-clockwise: 0, 90, 180 or 270 degrees.

    Of a flag that mirrors as well, the turn that brings the picture upright is taken.
    """
    _, _, c, d = _display_matrix(frame)
    return round(math.degrees(math.atan2(c, d)) / 90.0) % 4 * 90


def is_mirrored(frame: VideoFrame) -> bool:
    """Return whether the file asks for the picture to be mirrored."""
    a, b, c, d = _display_matrix(frame)
    return a * d - b * c < 0


def _display_matrix(frame: VideoFrame) -> tuple[float, float, float, float]:
    """Return where the stored picture's right and down point when shown: (a, b) and (c, d).

    Source: ISO/IEC 14496-12, 8.3.2 (the matrix of a track).
    """
    held: Any = frame.side_data
    for place in range(len(held)):
        data = held[place]
        if data.type == SideDataType.DISPLAYMATRIX:
            a, b, _, c, d = np.frombuffer(bytes(data), dtype=np.int32)[:5].astype(float)
            return a, b, c, d
    return 1.0, 0.0, 0.0, 1.0


def luma(frame: VideoFrame, rotation_deg: int, size_px: tuple[int, int]) -> Image:
    """Return a frame's luma as shown, 8 bits, read-only, without a copy where none is needed.

    Parameters
    ----------
    frame : VideoFrame
    rotation_deg : int
        Quarter turns counter-clockwise from the stored picture to the shown one.
    size_px : tuple of int
        Width and height as shown.

    Returns
    -------
    ndarray of uint8, shape (height, width)
        The decoder's own values, whether video range or full range.
    """
    shown = as_shown(one_moment(_stored_luma(frame), frame), rotation_deg, size_px)
    shown.flags.writeable = False
    return shown


def one_moment(stored: Image, frame: VideoFrame) -> Image:
    """Return a plane as it was at one moment: of an interlaced frame, the even rows' moment.

    The odd rows were filmed half a frame earlier or later; they are interpolated from their
    neighbours. Held against its own time, a ball would else be a comb of two.
    """
    if not frame.interlaced_frame or len(stored) < LEAST_ROWS:
        return stored
    import cv2

    filled = stored.copy()
    even = stored[::2]
    odd = filled[1::2]
    between = len(even) - 1
    odd[:between] = cv2.addWeighted(even[:-1], 0.5, even[1:], 0.5, 0.0)
    odd[between:] = even[-1]
    return filled


def blueness(frame: VideoFrame, rotation_deg: int, size_px: tuple[int, int]) -> Image | None:
    """Return a frame's blue difference (Cb) at half size as shown, 8 bits, read-only.

    None where the file does not hold it as a plane of its own at half width and height.
    """
    layout = frame.format
    if not (layout.is_planar and layout.name.startswith("yuv") and "420" in layout.name):
        return None
    bits = luma_bits(frame)
    if bits == 8:
        stored = plane(frame, np.dtype(np.uint8), 1)
    elif layout.name.endswith("le"):
        stored = _in_eight_bits(plane(frame, np.dtype("<u2"), 1), bits)
    else:
        return None
    stored = one_moment(stored, frame)
    shown = as_shown(stored, rotation_deg, ((size_px[0] + 1) // 2, (size_px[1] + 1) // 2))
    shown.flags.writeable = False
    return shown


def colour(frame: VideoFrame, rotation_deg: int, size_px: tuple[int, int]) -> Image:
    """Return a frame as shown in blue, green, red, shape (height, width, 3)."""
    stored = np.asarray(frame.to_ndarray(format="bgr24"), dtype=np.uint8)
    return as_shown(stored, rotation_deg, size_px)


def as_shown(stored: Image, rotation_deg: int, size_px: tuple[int, int]) -> Image:
    """Turn a stored picture and stretch or shrink it to the size that is shown."""
    if not rotation_deg and stored.shape[1::-1] == size_px:
        return stored
    import cv2

    turned: Any = cv2.rotate(stored, getattr(cv2, _TURNS[rotation_deg])) if rotation_deg else stored
    height, width = turned.shape[:2]
    if (width, height) != size_px:
        shrinks = size_px[0] < width and size_px[1] < height
        way = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
        turned = cv2.resize(turned, size_px, interpolation=way)
    return cast(Image, turned)


def luma_bits(frame: VideoFrame) -> int:
    """Return how many bits a pixel of the first component has."""
    return int(frame.format.components[0].bits)


def _stored_luma(frame: VideoFrame) -> Image:
    """Return the luma as it is stored, 8 bits."""
    layout = frame.format
    if layout.is_rgb or layout.has_palette:
        import cv2

        return cast(Image, cv2.cvtColor(frame.to_ndarray(format="rgb24"), cv2.COLOR_RGB2GRAY))
    bits = luma_bits(frame)
    if bits == 8 and (layout.is_planar or layout.name.startswith("gray")):
        return plane(frame, np.dtype(np.uint8))
    if bits > 8 and layout.is_planar and layout.name.endswith("le") and layout.name[0] == "y":
        return _in_eight_bits(plane(frame, np.dtype("<u2")), bits)
    # Rare packings: the planar form keeps the range of the luma, where `gray` would change it.
    return plane(frame.reformat(format="yuv420p"), np.dtype(np.uint8))


def _in_eight_bits(deep: NDArray[np.uint16], bits: int) -> Image:
    """Return values of more bits in the 8 highest of them."""
    import cv2

    return cast(Image, cv2.convertScaleAbs(deep, alpha=2.0 ** (8 - bits)))


def plane(frame: VideoFrame, kind: np.dtype[Any], number: int = 0) -> NDArray[Any]:
    """Return a plane without a copy; its lines may be longer than the picture."""
    plane = frame.planes[number]
    per_line = plane.line_size // kind.itemsize
    values = np.frombuffer(plane, dtype=kind, count=per_line * plane.height)  # type: ignore[call-overload]
    lines = values.reshape(plane.height, per_line)[:, : plane.width]
    lines.flags.writeable = False
    found: NDArray[Any] = lines
    return found
