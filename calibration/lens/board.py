"""The printed board: its picture, and finding it in a photograph."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

FEWEST_CORNERS = 8
"""Corners of a board below which a view is not used: four fix its pose, eight check it."""

RULER_MM, MARGIN_MM = 100, 10.0
"""Length of the ruler line and margins of the page, mm."""

SEARCH_PX = 800
"""Longer side of the picture in which a checkerboard is searched for, px; chosen for time."""


@dataclass(frozen=True)
class Sighting:
    """A board found in one picture.

    Attributes
    ----------
    corners_mm : ndarray, shape (N, 2)
        Places on the board.
    pixels : ndarray, shape (N, 2)
    sharpness : float
        Median rise of the luma across the corners' surroundings, levels per pixel.
    """

    corners_mm: Array
    pixels: Array
    sharpness: float


@dataclass(frozen=True)
class Sheet:
    """A page to print.

    Attributes
    ----------
    picture : ndarray of uint8
        Black and white; a ruler line of `RULER_MM` with ticks every 10 mm lies under the board.
    dots_per_mm : float
    ruler_px : ndarray, shape (2, 2)
        Ends of the ruler line: measured on paper they must be `RULER_MM` apart.
    """

    picture: Picture
    dots_per_mm: float
    ruler_px: Array


@dataclass(frozen=True)
class Board:
    """A checkerboard, or a ChArUco board where `tag_mm` is given.

    Attributes
    ----------
    columns, rows : int
        Squares, not corners.
    square_mm : float
        Side of a square as it was printed, measured on the paper.
    tag_mm : float or None
        Side of the ArUco tags in the white squares; None for a plain checkerboard.
    dictionary : str
        Name of the tags' dictionary in OpenCV.
    """

    columns: int = 9
    rows: int = 6
    square_mm: float = 25.0
    tag_mm: float | None = None
    dictionary: str = "DICT_4X4_250"

    def __post_init__(self) -> None:
        if min(self.columns, self.rows) < 3:
            raise InputError(
                f"a board of {self.columns} x {self.rows} squares is too small",
                remedy="give at least 3 x 3; count squares, not corners",
            )
        if self.tag_mm is None and self.columns % 2 == self.rows % 2:
            raise InputError(
                f"a checkerboard of {self.columns} x {self.rows} squares looks the same after "
                "half a turn",
                remedy="print one with an odd and an even number of squares",
            )
        if not self.square_mm > 0:
            raise InputError("square_mm must be above zero")
        if self.tag_mm is not None and not 0 < self.tag_mm < self.square_mm:
            raise InputError(
                f"tags of {self.tag_mm:g} mm do not fit into squares of {self.square_mm:g} mm"
            )

    def find(self, luma: Picture) -> Sighting | None:
        """Return the board's corners in a picture, or None where it is not seen well enough.

        Parameters
        ----------
        luma : ndarray of uint8, shape (H, W)
        """
        found = self._checkerboard(luma) if self.tag_mm is None else self._charuco(luma)
        if found is None or len(found[1]) < FEWEST_CORNERS:
            return None
        corners, pixels = found
        return Sighting(corners, pixels, _sharpness(luma, pixels))

    def sheet(self, page_mm: tuple[float, float] = (297.0, 210.0), dots_per_mm: int = 12) -> Sheet:
        """Return a page with the board in its middle and a ruler line under it.

        Raises
        ------
        InputError
            If the board does not fit the page.
        """
        width, height = (round(side * dots_per_mm) for side in page_mm)
        square = round(self.square_mm * dots_per_mm)
        board = self._picture(square)
        room = MARGIN_MM * dots_per_mm
        top = round(room)
        ruler_row = top + board.shape[0] + round(room)
        if board.shape[1] + 2 * room > width or ruler_row + room > height:
            raise InputError(
                f"the board of {self.columns * self.square_mm:g} x "
                f"{self.rows * self.square_mm:g} mm does not fit a page of {page_mm[0]:g} x "
                f"{page_mm[1]:g} mm with its margins",
                remedy="take smaller squares or fewer of them",
            )
        page = np.full((height, width), 255, np.uint8)
        left = (width - board.shape[1]) // 2
        page[top : top + board.shape[0], left : left + board.shape[1]] = board
        start = (width - RULER_MM * dots_per_mm) // 2
        thick = max(1, dots_per_mm // 4)
        page[ruler_row : ruler_row + thick, start : start + RULER_MM * dots_per_mm + thick] = 0
        for tick in range(0, RULER_MM + 1, 10):
            rise = round((4.0 if tick % 50 == 0 else 2.5) * dots_per_mm)
            at = start + tick * dots_per_mm
            page[ruler_row - rise : ruler_row + thick, at : at + thick] = 0
        ends = np.array([[start, ruler_row], [start + RULER_MM * dots_per_mm, ruler_row]], float)
        return Sheet(page, float(dots_per_mm), ends)

    def _picture(self, square: int) -> Picture:
        if self.tag_mm is not None:
            size = (self.columns * square, self.rows * square)
            return np.asarray(self._charuco_board().generateImage(size, marginSize=0), np.uint8)
        odd = (np.arange(self.rows)[:, None] + np.arange(self.columns)[None, :]) % 2
        wide = np.repeat(np.repeat(255 * odd, square, axis=0), square, axis=1)
        return wide.astype(np.uint8)

    def _charuco_board(self) -> Any:
        import cv2

        code = getattr(cv2.aruco, self.dictionary, None)
        if code is None:
            raise InputError(
                f"there is no tag dictionary {self.dictionary}",
                remedy="take one of OpenCV's, for instance DICT_4X4_250",
            )
        tags = cv2.aruco.getPredefinedDictionary(code)
        return cv2.aruco.CharucoBoard(
            (self.columns, self.rows), self.square_mm, float(self.tag_mm or 0.0), tags
        )

    def _checkerboard(self, luma: Picture) -> tuple[Array, Array] | None:
        import cv2

        shape = (self.columns - 1, self.rows - 1)
        shrink = min(1.0, SEARCH_PX / max(luma.shape))
        small = cv2.resize(luma, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        quick = (
            cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
        )
        found, rough = cv2.findChessboardCorners(small, shape, flags=quick)
        if not found:
            # Slower, and it sees through blur and glare.
            found, rough = cv2.findChessboardCornersSB(small, shape)
        if not found:
            return None
        start = (np.asarray(rough, np.float64).reshape(-1, 2) + 0.5) / shrink - 0.5
        grid = start.reshape(shape[1], shape[0], 2)
        gaps = [np.linalg.norm(np.diff(grid, axis=axis), axis=2).min() for axis in (0, 1)]
        reach = int(np.clip(0.4 * min(gaps), 2, 11))
        ends = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-3)
        pixels = cv2.cornerSubPix(
            luma, start.astype(np.float32), (reach, reach), (-1, -1), ends
        ).astype(np.float64)
        across, down = np.meshgrid(np.arange(1, self.columns), np.arange(1, self.rows))
        corners = np.column_stack([across.ravel(), down.ravel()]).astype(np.float64)
        return self.square_mm * corners, pixels.reshape(-1, 2)

    def _charuco(self, luma: Picture) -> tuple[Array, Array] | None:
        import cv2

        board = self._charuco_board()
        pixels, names, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(luma)
        if pixels is None or len(pixels) < FEWEST_CORNERS:
            return None
        corners = np.asarray(board.getChessboardCorners(), np.float64).reshape(-1, 3)
        chosen: Array = corners[np.asarray(names, int).ravel(), :2].astype(np.float64)
        return chosen, np.asarray(pixels, np.float64).reshape(-1, 2)


def _sharpness(luma: Picture, pixels: Array) -> float:
    """Return the steepest rise of the luma near each corner, median over the corners."""
    import cv2

    rises = []
    for column, row in np.round(pixels).astype(int):
        patch = luma[max(0, row - 4) : row + 5, max(0, column - 4) : column + 5]
        if patch.size >= 25:
            across = cv2.Sobel(patch, cv2.CV_32F, 1, 0, ksize=3)
            down = cv2.Sobel(patch, cv2.CV_32F, 0, 1, ksize=3)
            rises.append(float(np.hypot(across, down).max()) / 8.0)
    return float(np.median(rises)) if rises else 0.0
