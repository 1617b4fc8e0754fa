"""Cones, poles and flags of one colour, found near their predicted pixels."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import sigma_of
from calibration.camera import Camera
from calibration.errors import InputError
from calibration.markers.marker import Marker
from calibration.markers.proposal import Proposal

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

# Reference colours, red green blue; only the direction from the background's colour in CIE
# L*a*b* counts.
COLOURS: dict[str, tuple[int, int, int]] = {
    "red": (215, 30, 30),
    "orange": (245, 115, 20),
    "yellow": (245, 220, 20),
    "green": (20, 200, 60),
    "blue": (30, 80, 220),
    "pink": (245, 60, 160),
    "white": (250, 250, 250),
}

LEAST_RISE = 10.0
"""Difference of colour from the background that counts at all, L*a*b* units."""

LEAST_CONTRAST = 6.0
SIGMAS = 4.0
SMALLEST_REACH_PX, LARGEST_REACH_SHARE = 16.0, 0.2
CENTRE_U_PX = 0.25
"""How well the foot of a clean shape is placed (common practice, no source)."""


@dataclass(frozen=True)
class Look:
    """What the markers look like.

    Attributes
    ----------
    colour : str
        A key of `COLOURS`.
    height_m, width_m : float
        Of the coloured part.
    foot_m : float
        Height of the coloured part's lower edge above the marker's point: 0 for a cone or a
        pole, the length of the staff for a flag.
    """

    colour: str = "orange"
    height_m: float = 0.30
    width_m: float = 0.20
    foot_m: float = 0.0


def find_coloured(
    picture: Picture, camera: Camera, markers: Iterable[Marker], look: Look
) -> tuple[Proposal, ...]:
    """Return proposals for the markers that are seen near where the camera expects them.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        Blue, green, red, as OpenCV has it.
    camera : Camera
        As known so far; its covariance says how far to look.
    markers : iterable of Marker
    look : Look

    Returns
    -------
    tuple of Proposal
        In the order of the markers, those that were not found left out. Two markers never share
        one place.

    Raises
    ------
    InputError
        If the colour has no name here.
    """
    if look.colour not in COLOURS:
        raise InputError(
            f'there is no colour "{look.colour}"', remedy="take one of " + ", ".join(COLOURS)
        )
    found: list[Proposal] = []
    for marker in markers:
        proposal = _find(picture, camera, marker, look)
        if proposal is not None:
            found.append(proposal)
    return tuple(_apart(found))


def _find(picture: Picture, camera: Camera, marker: Marker, look: Look) -> Proposal | None:
    import cv2

    pixels, by_point, by_camera = camera.project_with_jacobians(marker.ground_m[None, :])
    middle = pixels[0]
    height, width = picture.shape[:2]
    if not (np.all(np.isfinite(middle)) and -20 < middle[0] < width + 20):
        return None
    spread = by_camera[0] @ camera.covariance @ by_camera[0].T
    spread = spread + marker.u_m**2 * by_point[0] @ by_point[0].T
    scale = float(np.linalg.norm(by_point[0, :, 2]))
    tall, wide = look.height_m * scale, look.width_m * scale
    reach = SIGMAS * np.sqrt(np.diag(spread)) + SMALLEST_REACH_PX + wide
    reach = np.minimum(reach, LARGEST_REACH_SHARE * max(width, height))
    left, right = _span(middle[0], reach[0], reach[0], width)
    top, bottom = _span(
        middle[1], reach[1] + tall + look.foot_m * scale, reach[1] + 0.5 * tall, height
    )
    if right - left < 6 or bottom - top < 6:
        return None
    rise = _rise(picture[top:bottom, left:right], look.colour)
    noise = sigma_of(rise - np.median(rise)) + 0.5
    bound = max(LEAST_RISE, LEAST_CONTRAST * noise)
    mask = (rise > bound).astype(np.uint8)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    best, score = 0, -np.inf
    expected = np.log(max(0.6 * tall * wide, 1.0))
    for k in range(1, count):
        area = float(boxes[k, cv2.CC_STAT_AREA])
        if area < 3 or area > 12.0 * max(tall * wide, 4.0):
            continue
        at = np.array(
            [
                left + boxes[k, 0] + boxes[k, 2] / 2.0,
                top + boxes[k, 1] + boxes[k, 3] + look.foot_m * scale,
            ]
        )
        away = at - middle
        distance = float(away @ np.linalg.solve(spread + 9.0 * np.eye(2), away))
        strength = float(rise[labels == k].mean())
        fits = -0.5 * distance - (np.log(area) - expected) ** 2 + 2.0 * np.log(strength)
        if fits > score:
            best, score = k, fits
    if best == 0:
        return None
    column, row, u = _foot(rise, labels == best)
    box = boxes[best]
    pixel = np.array([left + column, top + row]) + _to_point(camera, marker, look)
    return Proposal(
        name=marker.name,
        pixel=pixel,
        pixel_u=float(np.hypot(u, 0.15 * look.foot_m * scale) + _small_u(box[2])),
        contrast=float(rise[labels == best].max() / noise),
        box_px=(
            int(left + box[0]),
            int(top + box[1]),
            int(left + box[0] + box[2]),
            int(top + box[1] + box[3]),
        ),
    )


def _span(middle: float, before: float, after: float, size: int) -> tuple[int, int]:
    return int(max(0, np.floor(middle - before))), int(min(size, np.ceil(middle + after) + 1))


def _rise(window: Picture, colour: str) -> Array:
    """Return how far each pixel leaves the background's colour towards the one wanted."""
    import cv2

    lab = cv2.cvtColor(window.astype(np.float32) / 255.0, cv2.COLOR_BGR2Lab)
    wanted = np.array([[COLOURS[colour][::-1]]], np.float32) / 255.0
    target = cv2.cvtColor(wanted, cv2.COLOR_BGR2Lab)[0, 0]
    # Light and shade change lightness more than hue: it counts little, except for white.
    weigh = np.array([1.0, 1.0, 1.0] if colour == "white" else [0.25, 1.0, 1.0], np.float32)
    flat = (lab * weigh).reshape(-1, 3)
    background = np.median(flat, axis=0)
    way = target * weigh - background
    way = way / max(float(np.linalg.norm(way)), 1e-6)
    apart = flat - background
    toward = apart @ way
    aside = np.linalg.norm(apart - toward[:, None] * way, axis=1)
    return np.asarray((toward - 0.7 * aside).reshape(window.shape[:2]), float)


def _small_u(width_px: float) -> float:
    """Return what is not known of the foot of a shape of few pixels, px.

    Of a striped cone that is less than some ten pixels wide only the lowest stripe is found, and
    its edge is soft: seen to be off by one to two pixels on rendered fields.
    """
    return float(np.clip(1.4 - 0.1 * width_px, 0.0, 1.0))


def _foot(rise: Array, shape: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Return column, row and uncertainty of the foot of a shape, in its window.

    The lower edge lies where the shape's width has fallen to half of what it is just above; the
    column is that of the shape's axis there.
    """
    rows, columns = np.nonzero(shape)
    full = float(np.percentile(rise[shape], 80))
    left, right = max(columns.min() - 2, 0), columns.max() + 3
    top, bottom = rows.min(), min(rows.max() + 4, len(rise))
    part = np.clip(rise[top:bottom, left:right] / full, 0.0, 1.0)
    part[part < 0.08] = 0.0
    widths = part.sum(axis=1)
    # The widest of the last rows that are fully of the shape: the base of a cone, a pole's end.
    last = int(rows.max() - top)
    depth = max(1, (last + 1) // 3)
    base = float(widths[max(0, last - depth) : last + 1].max())
    below = np.flatnonzero(widths[max(0, last - depth) :] < 0.5 * base)
    after = max(0, last - depth) + int(below[below > 0][0] if np.any(below > 0) else depth + 1)
    after = min(after, len(widths) - 1)
    before = after - 1
    gap = widths[before] - widths[after]
    edge = before + (widths[before] - 0.5 * base) / gap if gap > 1e-9 else float(before)
    places = np.arange(left, right)
    used = np.arange(max(0, last - 2 * depth), before + 1)
    weights = widths[used]
    middles = part[used] @ places / np.maximum(weights, 1e-9)
    if len(used) >= 4:
        slope, offset = np.polyfit(used, middles, 1, w=np.sqrt(weights))
        column = slope * edge + offset if abs(slope) < 0.6 else np.average(middles, weights=weights)
    else:
        column = np.average(middles, weights=weights)
    blur = 0.5 / np.sqrt(max(base, 1.0))
    return float(column), float(top + edge), float(np.hypot(CENTRE_U_PX, blur))


def _to_point(camera: Camera, marker: Marker, look: Look) -> Array:
    """Return the shift in the frame from the edge that is seen to the marker's own point.

    The lower edge of a round shape is its near rim, half its width before the middle.
    """
    toward = camera.position - marker.ground_m
    toward[2] = 0.0
    toward = toward / max(float(np.linalg.norm(toward)), 1e-9)
    rim = marker.ground_m + 0.5 * look.width_m * toward + np.array([0.0, 0.0, look.foot_m])
    both = camera.project(np.stack([marker.ground_m, rim]))
    return np.array([0.0, both[0, 1] - both[1, 1]]) if look.foot_m == 0 else both[0] - both[1]


def _apart(found: list[Proposal]) -> list[Proposal]:
    """Return the proposals without those of two markers at one place."""
    kept = []
    for proposal in found:
        rivals = [
            other
            for other in found
            if other is not proposal and np.linalg.norm(other.pixel - proposal.pixel) < 3.0
        ]
        if not rivals:
            kept.append(proposal)
    return kept
