"""A sheet of pixels that is drawn on in inches, without a window system or a plotting library.

matplotlib takes a third of a second for a sheet of this kind, and a second to import; OpenCV draws
the same lines and letters in a twentieth of that.
"""

from dataclasses import dataclass
from typing import Self

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.report.composite import Image
from tracker.report.labels import Box
from tracker.report.lettering import POINTS_PER_INCH, letter_places, printable, typeface
from tracker.report.look import DOTS_PER_INCH, INK, PAPER
from tracker.report.raster import resampled
from tracker.report.signs import CORNERS

Array = NDArray[np.float64]
Place = tuple[float, float]
"""Inches from the left and the top edge."""

Colour = tuple[int, int, int]
"""Blue, green, red."""

SHIFT = 4
"""Bits of a pixel's fraction in what OpenCV draws: a sixteenth."""

FAR_PX = 1e5
"""Places are held within this distance, px: OpenCV counts in whole numbers of 32 bits."""

SMOOTHED_PX = 0.7
"""How far OpenCV's smoothed areas reach beyond their edges, px; measured."""

CAP_SHARE = 0.365
"""Half the height of a capital letter over the size of its letters, in DejaVu Sans."""

PER_POINT = DOTS_PER_INCH / POINTS_PER_INCH
"""Pixels to a point."""

JPEG_QUALITY = 90
"""Of the files; common practice, no source."""


@dataclass(frozen=True)
class Letters:
    """How a text is written.

    Attributes
    ----------
    size : float
        Points.
    weight : str
        ``"normal"`` or ``"bold"``.
    colour : str
    ha : str
        Which part of the text lies at its place: ``"left"``, ``"center"`` or ``"right"``.
    casing : float
        Width of an outline on either side that keeps it readable, points.
    """

    size: float
    weight: str = "normal"
    colour: str = INK
    ha: str = "left"
    casing: float = 0.0


@dataclass(frozen=True)
class Sheet:
    """A sheet, or a part of one beyond which nothing shows.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        Blue, green, red; drawn on in place.
    """

    pixels: Image

    @classmethod
    def empty(cls, inches: tuple[float, float], paper: str = PAPER) -> Self:
        """Return a blank sheet of a width and height."""
        wide, tall = (max(1, round(each * DOTS_PER_INCH)) for each in inches)
        sheet = cls(np.empty((tall, wide, 3), np.uint8))
        sheet.fill(Box(0.0, 0.0, *inches), paper)
        return sheet

    def part(self, box: Box) -> Self:
        """Return a part of the sheet; what is drawn on it lies on the sheet."""
        height, width = self.pixels.shape[:2]
        left, top, right, bottom = (
            min(max(round(edge * DOTS_PER_INCH), 0), most)
            for edge, most in zip(
                (box.left, box.top, box.right, box.bottom), (width, height) * 2, strict=True
            )
        )
        return type(self)(self.pixels[top:bottom, left:right])

    def jpeg(self) -> bytes:
        """Return the sheet as a JPEG file."""
        sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
        options = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
        options += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
        return bytes(cv2.imencode(".jpg", self.pixels, options)[1])

    def fill(self, box: Box, colour: str, opacity: float = 1.0) -> None:
        """Fill a box with a colour."""
        here = self.part(box).pixels
        if not here.size:
            return
        if opacity >= 1.0:
            cv2.rectangle(here, (0, 0), here.shape[1::-1], level(colour), cv2.FILLED)
        else:
            mixed = opacity * np.array(level(colour)) + (1.0 - opacity) * here
            here[:] = np.round(mixed).astype(np.uint8)

    def frame(self, box: Box, colour: str, points: float) -> None:
        """Draw the edges of a box."""
        corners = [(box.left, box.top), (box.right, box.top)]
        corners += [(box.right, box.bottom), (box.left, box.bottom)]
        self.line(np.array(corners), colour, points, closed=True)

    def line(self, places: Array, colour: str, points: float, closed: bool = False) -> None:
        """Draw a line through places, shape (N, 2), that ends wherever one is not finite."""
        good = np.isfinite(places).all(axis=1)
        breaks = np.flatnonzero(np.diff(good.astype(np.int8)) != 0) + 1
        parts = zip(np.split(places, breaks), np.split(good, breaks), strict=True)
        runs = [_fixed(run) for run, kept in parts if len(run) > 1 and kept[0]]
        if runs:
            thick = _thickness(points)
            cv2.polylines(self.pixels, runs, closed, level(colour), thick, cv2.LINE_AA, SHIFT)

    def segments(self, ends: Array, colour: str, points: float) -> None:
        """Draw straight pieces, shape (N, 2, 2), each cut off square at its ends."""
        along = ends[:, 1] - ends[:, 0]
        length = np.linalg.norm(along, axis=1)
        kept = np.isfinite(length) & (length > 0.0)
        ends, along = ends[kept], along[kept] / length[kept, None]
        half = max(0.5 * points * PER_POINT - SMOOTHED_PX, 0.1) / DOTS_PER_INCH
        aside = half * np.column_stack([-along[:, 1], along[:, 0]])
        inward = SMOOTHED_PX / DOTS_PER_INCH * along
        ends = np.stack([ends[:, 0] + inward, ends[:, 1] - inward], axis=1)
        corners = [ends[:, 0] + aside, ends[:, 1] + aside, ends[:, 1] - aside, ends[:, 0] - aside]
        for corner in _fixed(np.stack(corners, axis=1)).reshape(-1, 4, 1, 2):
            cv2.fillConvexPoly(self.pixels, corner, level(colour), cv2.LINE_AA, SHIFT)

    def outlines(self, corners: Array, colour: str, points: float) -> None:
        """Draw the edges of several figures of as many corners, shape (N, corners, 2)."""
        if len(corners):
            every = list(_fixed(corners).reshape(*corners.shape[:2], 1, 2))
            thick = _thickness(points)
            cv2.polylines(self.pixels, every, True, level(colour), thick, cv2.LINE_AA, SHIFT)

    def dots(self, places: Array, radius: float, colour: str) -> None:
        """Draw filled circles of a radius in points at places, shape (N, 2)."""
        size = max(round(radius * PER_POINT * 2**SHIFT), 1)
        for centre in _fixed(places[np.isfinite(places).all(axis=1)]).reshape(-1, 2).tolist():
            cv2.circle(self.pixels, centre, size, level(colour), cv2.FILLED, cv2.LINE_AA, SHIFT)

    def lay(self, picture: Image, box: Box) -> None:
        """Lay a picture, blue, green, red, into a box; what lies beyond the sheet is left out."""
        height, width = self.pixels.shape[:2]
        edges = DOTS_PER_INCH * np.array([box.left, box.top, box.right, box.bottom])
        first = np.maximum(np.ceil(edges[:2] - 0.5), 0).astype(int)
        last = np.minimum(np.ceil(edges[2:] - 0.5), (width, height)).astype(int)
        scale = (edges[2:] - edges[:2]) / (picture.shape[1], picture.shape[0])
        if np.any(last <= first) or not np.all(scale > 0.0):
            return
        across, down = (first + 0.5 - edges[:2]) / scale - 0.5
        matrix = np.array([[1.0 / scale[0], 0.0, across], [0.0, 1.0 / scale[1], down]])
        columns, rows = (last - first).tolist()
        shown = resampled(picture, matrix, (columns, rows), float(scale.min()))
        self.pixels[first[1] : last[1], first[0] : last[0]] = shown

    def write(self, place: Place, text: str, letters: Letters) -> None:
        """Write a line of text about a height: the middle of its capitals lies there."""
        size_px = letters.size * PER_POINT
        places = letter_places(text, size_px, letters.weight)
        share = {"left": 0.0, "center": 0.5, "right": 1.0}[letters.ha]
        left = place[0] * DOTS_PER_INCH - share * places[-1]
        row = round(place[1] * DOTS_PER_INCH + CAP_SHARE * size_px)
        columns = [round(left + each) for each in places]
        if letters.casing > 0.0:
            self._case((columns, row), text, letters)
        _put(self.pixels, (columns, row), text, letters, level(letters.colour))

    def _case(self, at: tuple[list[int], int], text: str, letters: Letters) -> None:
        """Draw the outline of a text: its letters, grown to every side."""
        (columns, row), tall = at, round(2.0 * letters.size * PER_POINT)
        reach = max(1, round(letters.casing * PER_POINT))
        left, top = columns[0] - 2 * reach, row - tall
        cover = np.zeros((tall + tall // 2, columns[-1] - left + 2 * reach, 3), np.uint8)
        _put(cover, ([each - left for each in columns], tall), text, letters, (255, 255, 255))
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
        grown = cv2.dilate(cover[:, :, :1], kernel)
        height, width = self.pixels.shape[:2]
        first, above = max(left, 0), max(top, 0)
        right, bottom = min(left + grown.shape[1], width), min(top + grown.shape[0], height)
        if first >= right or above >= bottom:
            return
        share = grown[above - top : bottom - top, first - left : right - left, None] / 255.0
        under = self.pixels[above:bottom, first:right]
        under[:] = np.round(share * np.array(level(INK)) + (1.0 - share) * under).astype(np.uint8)


def _put(
    image: Image, at: tuple[list[int], int], text: str, letters: Letters, colour: Colour
) -> None:
    """Draw letters with their left ends in columns and their feet on a row."""
    face, size = typeface(letters.size * PER_POINT, letters.weight)
    columns, row = at
    for column, letter in zip(columns, printable(text), strict=False):
        if letter != " ":
            cv2.putText(image, letter, (column, row), colour, face, size)


def level(colour: str) -> Colour:
    """Return blue, green, red of a colour written as ``"#rrggbb"``."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return blue, green, red


def outline(sign: str, place: Array, points: float) -> Array:
    """Return the corners of one of `CORNERS` about a place, inches.

    Parameters
    ----------
    sign : str
    place : ndarray, shape (2,)
    points : float
        Its width.
    """
    found: Array = place + points / POINTS_PER_INCH * np.array(CORNERS[sign])
    return found


def crosses(places: Array, points: float) -> Array:
    """Return the two strokes of a cross at each place, shape (2N, 2, 2), inches."""
    half = 0.5 * points / POINTS_PER_INCH
    ways = half * np.array([[[-1.0, -1.0], [1.0, 1.0]], [[-1.0, 1.0], [1.0, -1.0]]])
    found: Array = (places[:, None, None, :] + ways).reshape(-1, 2, 2)
    return found


def _thickness(points: float) -> int:
    """Return OpenCV's whole number for a line's width: what it smooths is half a pixel wider."""
    return max(1, round(points * PER_POINT - 0.5))


def _fixed(places: Array) -> NDArray[np.int32]:
    """Return places in OpenCV's whole numbers, pixels' middles being whole, shape (N, 1, 2)."""
    pixels = np.clip(places * DOTS_PER_INCH - 0.5, -FAR_PX, FAR_PX)
    fixed: NDArray[np.int32] = np.round(pixels * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)
    return fixed
