"""Score of a standing shape of unknown colour at every pixel of a picture."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import SIGMA_PER_MAD

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

BLUR_PX = 0.8
"""Standard deviation of a phone's point spread with its coding, px (common practice, no source)."""

TOP_SHARE = 0.2
"""Width of a cone's top over that of its foot (common practice, no source)."""

FINE = 8
"""Samples of a pixel in each direction for a silhouette's coverage."""

MARGIN_PX = 3
"""Background around a silhouette that the filter compares it with, px."""

LIGHTNESS_SHARE = 0.5
"""Weight of lightness beside colour: light and shade change it most."""

LEAST_SIGMA = 0.3
"""Least scatter of a filtered channel, in units of L*a*b*: below it coding has flattened all."""


@dataclass(frozen=True)
class Silhouette:
    """A filter for a shape on its foot.

    Attributes
    ----------
    kernel : ndarray of float32, shape (H, W)
        Coverage less its mean, of unit square sum.
    edges : ndarray of float32, shape (H, W)
        The same for gradients, which are nearly white in pictures of nature: by it sizes compare.
    foot : ndarray, shape (2,)
        Column and row of the foot within the kernel.
    slope : ndarray, shape (2,)
        Root mean square slope of the kernel, per px: how sharply it places a shape.
    """

    kernel: Picture
    edges: Picture
    foot: Array
    slope: Array


def silhouette(height_px: float, width_px: float, top_share: float = TOP_SHARE) -> Silhouette:
    """Return the filter for a cone, or for a pole where the top is as wide as the foot."""
    import cv2

    half = int(np.ceil(width_px / 2.0)) + MARGIN_PX
    above, below = int(np.ceil(height_px)) + MARGIN_PX, MARGIN_PX + 1
    foot = np.array([half, above], float)
    top = 0.5 * top_share * width_px
    corners = foot + np.array(
        [[-width_px / 2, 0.0], [width_px / 2, 0.0], [top, -height_px], [-top, -height_px]]
    )
    mask = np.zeros(((above + below + 1) * FINE, (2 * half + 1) * FINE), np.uint8)
    points = np.round(((corners + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 255, shift=4)
    soft = cv2.GaussianBlur(mask, (0, 0), BLUR_PX * FINE).astype(np.float32)
    cover = cv2.resize(soft, (2 * half + 1, above + below + 1), interpolation=cv2.INTER_AREA)
    kernel = cover - cover.mean()
    kernel /= max(float(np.sqrt(np.sum(kernel**2))), 1e-9)
    bend = -cv2.Laplacian(np.pad(kernel, 1, mode="edge"), cv2.CV_32F)[1:-1, 1:-1]
    edges = bend / max(float(np.sqrt(np.sum(kernel * bend))), 1e-9)
    slope = np.array([np.sqrt(np.sum(np.gradient(kernel, axis=axis) ** 2)) for axis in (1, 0)])
    return Silhouette(kernel, np.asarray(edges, np.float32), foot, slope)


def lab(picture: NDArray[np.uint8] | Picture) -> Picture:
    """Return a picture, blue green red of 0 to 255, in L*a*b* with lightness at its weight."""
    import cv2

    found = cv2.cvtColor(np.asarray(picture, np.float32) / 255.0, cv2.COLOR_BGR2Lab)
    return np.asarray(found * np.array([LIGHTNESS_SHARE, 1.0, 1.0], np.float32), np.float32)


def responses(colours: Picture, shape: Silhouette) -> tuple[Picture, Picture]:
    """Return the filter's response by channel at each foot's pixel.

    Parameters
    ----------
    colours : ndarray of float32, shape (H, W, 3)
    shape : Silhouette

    Returns
    -------
    ndarray, shape (H, W, 3)
        In units of its scatter, signed.
    ndarray, shape (H, W)
        The squares of the picture's gradient that the shape explains there, over all channels.
    """
    import cv2

    anchor = (int(shape.foot[0]), int(shape.foot[1]))
    found = cv2.filter2D(
        colours, cv2.CV_32F, shape.kernel, anchor=anchor, borderType=cv2.BORDER_REPLICATE
    )
    middle = np.median(found, axis=(0, 1))
    sigma = SIGMA_PER_MAD * np.median(np.abs(found - middle), axis=(0, 1))
    response = np.asarray((found - middle) / np.maximum(sigma, LEAST_SIGMA), np.float32)
    edges = cv2.filter2D(
        colours, cv2.CV_32F, shape.edges, anchor=anchor, borderType=cv2.BORDER_REPLICATE
    )
    return response, np.asarray(np.sum(edges**2, axis=2), np.float32)


def peaks(score: Picture, most: int, apart: int) -> list[tuple[float, float, float]]:
    """Return the highest local maxima: column, row to a part of a pixel, and score."""
    import cv2

    size = 2 * apart + 1
    highest = cv2.dilate(score, np.ones((size, size), np.uint8))
    rows, columns = np.nonzero((score >= highest) & (score > 0))
    order = np.argsort(-score[rows, columns])[:most]
    found = []
    for row, column in zip(rows[order], columns[order], strict=True):
        found.append(
            (
                column + _vertex(score[row, max(column - 1, 0) : column + 2]),
                row + _vertex(score[max(row - 1, 0) : row + 2, column]),
                float(score[row, column]),
            )
        )
    return found


def sharpest(squares: Picture, row: int, column: int, within: int) -> tuple[float, float, float]:
    """Return the place near a pixel at which a shape explains most, to a part of a pixel.

    The filter of gradients places a shape by its edges; the other one by its middle, which a base
    or a band of another width moves.

    Parameters
    ----------
    squares : ndarray, shape (H, W)
        As of `responses`.
    row, column : int
    within : int
        How far off the place may be in each direction, px.

    Returns
    -------
    column, row, squares : float
    """
    top, left = max(row - within, 0), max(column - within, 0)
    part = squares[top : row + within + 1, left : column + within + 1]
    down, right = np.unravel_index(int(np.argmax(part)), part.shape)
    row, column = top + int(down), left + int(right)
    return (
        column + _vertex(np.sqrt(squares[row, max(column - 1, 0) : column + 2])),
        row + _vertex(np.sqrt(squares[max(row - 1, 0) : row + 2, column])),
        float(squares[row, column]),
    )


def _vertex(three: Picture) -> float:
    """Return where a parabola through three values has its vertex, from the middle one."""
    if len(three) < 3:
        return 0.0
    left, middle, right = (float(value) for value in three)
    bend = left - 2.0 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
