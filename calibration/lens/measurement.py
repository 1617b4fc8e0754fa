"""From pictures of a printed board to a lens with a covariance."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from calibration.lens.board import Board, Picture, Sighting
from calibration.lens.bundle import bundle
from calibration.lens.lens import Lens

Array = NDArray[np.float64]

# Common practice in measuring lenses with a board, no source, where nothing else is said.
FEWEST_VIEWS, MOST_VIEWS = 8, 30
"""Views needed, and those that are kept: more add time and little else."""

NOVEL = 0.06
"""Views nearer to each other than this (shares of the frame and of the board's shape) are alike."""

THUMBNAIL, ALIKE_LEVELS, MOST_ALIKE = 32, 3.0, 8
"""Side of a thumbnail, px; mean difference in grey levels below which two pictures are alike; and
the most that stand for one another in a row."""

LARGEST_FOCAL_U = 0.02
"""Share of the focal length: a lens known less well is refused."""

SMALLEST_COVER = 0.35
"""Share of the frame that the corners should cover."""

OUTLIER = 3.0
"""A view whose residuals exceed the median view's by this factor is left out."""

LARGE_SAG_MM = 1.0
"""A board that is bent by more is reported."""

FREE_K3_U = 3.0
"""Standard uncertainties by which k3 must differ from zero to be kept."""


@dataclass(frozen=True)
class LensMeasurement:
    """A measured lens and the views behind it.

    Attributes
    ----------
    lens : Lens
    frames : tuple of int
        Which of the pictures were used, counted from 0.
    rms_px : float
        Root mean square of the corners' residuals.
    cover : float
        Share of the frame's area inside the corners' hull.
    notes : tuple of str
    """

    lens: Lens
    frames: tuple[int, ...]
    rms_px: float
    cover: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _View:
    frame: int
    sighting: Sighting
    shape: Array


def measure(
    pictures: Iterable[Picture],
    board: Board,
    *,
    device: str = "",
    zoom: str = "",
) -> LensMeasurement:
    """Measure a lens from pictures of a board, from the sharpest and most different ones.

    Parameters
    ----------
    pictures : iterable of ndarray of uint8, shape (H, W)
        Luma of single pictures, or of the frames of a clip in order.
    board : Board
    device, zoom : str
        What the lens file will say it holds for.

    Raises
    ------
    InputError
        If the pictures differ in size or show the board too rarely or always alike.
    """
    views: list[_View] = []
    size: tuple[int, int] | None = None
    count = 0
    for count, luma in _sharpest(pictures):
        here = (luma.shape[1], luma.shape[0])
        if size is not None and here != size:
            raise InputError(
                f"picture {count} has {here[0]} x {here[1]} pixels and the first one "
                f"{size[0]} x {size[1]}",
                remedy="use pictures of one size",
            )
        size = here
        sighting = board.find(luma)
        if sighting is not None:
            _keep(views, _View(count - 1, sighting, _shape(sighting, here)))
    if size is None or len(views) < FEWEST_VIEWS:
        raise InputError(
            f"the board was seen in {len(views)} different places of {count} pictures, and "
            f"{FEWEST_VIEWS} are needed",
            remedy="film the board slowly, near and far, in all corners of the frame and tilted "
            "every way, and check that its numbers of squares are right",
        )
    return from_sightings(
        [view.sighting for view in views], size, [view.frame for view in views], (device, zoom)
    )


def from_sightings(
    sightings: list[Sighting],
    size_px: tuple[int, int],
    frames: list[int],
    names: tuple[str, str] = ("", ""),
) -> LensMeasurement:
    """Measure a lens from sightings of a board.

    Focal length, principal point, k1, k2, p1 and p2 are fitted with `cv2.calibrateCameraExtended`;
    k3 only where it differs from zero by more than three standard uncertainties; the board's bend
    with them (`calibration.lens.bend`). Views whose residuals are outliers are left out once. The
    covariance is the whole bundle's, enlarged where views scatter more than their corners (blur).

    Parameters
    ----------
    sightings : list of Sighting
    size_px : tuple of int
    frames : list of int
    names : tuple of str
        Device and zoom.
    """
    fit = bundle(sightings, size_px, free_k3=False)
    good = fit.view_rms <= OUTLIER * np.median(fit.view_rms)
    dropped = int(np.sum(~good))
    if dropped and np.sum(good) >= FEWEST_VIEWS:
        sightings = [view for view, kept in zip(sightings, good, strict=True) if kept]
        frames = [frame for frame, kept in zip(frames, good, strict=True) if kept]
        fit = bundle(sightings, size_px, free_k3=False)
    wider = bundle(sightings, size_px, free_k3=True)
    if abs(wider.values[7]) > FREE_K3_U * np.sqrt(wider.covariance[7, 7]):
        fit = wider
    if np.sqrt(fit.covariance[0, 0]) > LARGEST_FOCAL_U:
        raise InputError(
            f"the focal length stays open by {100 * np.sqrt(fit.covariance[0, 0]):.0f} %",
            remedy="film the board tilted by 30 to 45 degrees as well, to all four sides",
        )
    cover = _cover(sightings, size_px)
    notes = []
    if cover < SMALLEST_COVER:
        notes.append(
            f"the board was seen in {100 * cover:.0f} % of the frame only: towards the corners "
            "the distortion is a guess; film it there too"
        )
    if fit.sag_mm > LARGE_SAG_MM:
        notes.append(
            f"the board is bent by {fit.sag_mm:.1f} mm, which is fitted with the lens; glue it to "
            "something stiff"
        )
    if dropped:
        notes.append(f"{dropped} views that did not agree with the rest were left out")
    lens = Lens(
        focal_px=float(np.exp(fit.values[0])),
        centre_px=fit.values[1:3],
        distortion=fit.values[3:],
        covariance=fit.covariance,
        size_px=size_px,
        device=names[0],
        zoom=names[1],
    )
    return LensMeasurement(lens, tuple(frames), fit.rms, cover, tuple(notes))


def _sharpest(pictures: Iterable[Picture]) -> Iterator[tuple[int, Picture]]:
    """Yield the sharpest of every few pictures that are nearly alike, with its number from 1.

    Looking for a board costs much more than decoding: neighbouring frames of a clip are not
    worth it, single pictures are.
    """
    import cv2

    best: tuple[float, int, Picture] | None = None
    first, length = np.zeros((THUMBNAIL, THUMBNAIL), np.float32), 0
    for count, luma in enumerate(pictures, start=1):
        small = cv2.resize(luma, (8 * THUMBNAIL, 8 * THUMBNAIL), interpolation=cv2.INTER_AREA)
        thumbnail = cv2.resize(small, (THUMBNAIL, THUMBNAIL), interpolation=cv2.INTER_AREA).astype(
            np.float32
        )
        alike = best is not None and best[2].shape == luma.shape
        alike = alike and float(np.abs(thumbnail - first).mean()) < ALIKE_LEVELS
        if best is not None and (not alike or length >= MOST_ALIKE):
            yield best[1], best[2]
            best = None
        if best is None:
            first, length = thumbnail, 0
        length += 1
        sharp = float(cv2.Laplacian(small, cv2.CV_32F).var())
        if best is None or sharp > best[0]:
            best = (sharp, count, luma.copy())
    if best is not None:
        yield best[1], best[2]


def _shape(sighting: Sighting, size: tuple[int, int]) -> Array:
    """Return numbers that describe how a board lies; chosen views are spread over them."""
    flat = np.column_stack([sighting.corners_mm, np.ones(len(sighting.pixels))])
    affine, *_ = np.linalg.lstsq(flat, sighting.pixels, rcond=None)
    middle = sighting.pixels.mean(axis=0)
    slope = affine[:2]
    stretch = np.linalg.svd(slope, compute_uv=False)
    turn = np.arctan2(slope[0, 1], slope[0, 0])
    skew = (slope[0] @ slope[1]) / (np.linalg.norm(slope[0]) * np.linalg.norm(slope[1]))
    # What the affine part leaves is perspective: which side of the board is nearer.
    rest = sighting.pixels - flat @ affine
    spread = sighting.corners_mm - sighting.corners_mm.mean(axis=0)
    lean = (spread * np.linalg.norm(rest, axis=1)[:, None]).mean(axis=0)
    lean = lean / (np.abs(spread).max() * max(stretch[0] * np.abs(spread).max(), 1.0))
    return np.concatenate(
        [
            middle / max(size),
            [
                0.3 * np.log(stretch[0]),
                0.3 * np.log(stretch[0] / stretch[1]),
                0.1 * np.cos(turn),
                0.1 * np.sin(turn),
                0.3 * skew,
            ],
            10.0 * lean,
        ]
    )


def _keep(views: list[_View], view: _View) -> None:
    """Keep a view if it is new, or sharper than the one it resembles; drop the most crowded."""
    gaps = [float(np.linalg.norm(view.shape - other.shape)) for other in views]
    if gaps and min(gaps) < NOVEL:
        nearest = int(np.argmin(gaps))
        if view.sighting.sharpness > views[nearest].sighting.sharpness:
            views[nearest] = view
        return
    views.append(view)
    if len(views) > MOST_VIEWS:
        shapes = np.array([other.shape for other in views])
        apart = np.linalg.norm(shapes[:, None] - shapes[None], axis=2)
        np.fill_diagonal(apart, np.inf)
        pair = np.unravel_index(int(np.argmin(apart)), apart.shape)
        del views[min(pair, key=lambda i: views[i].sighting.sharpness)]


def _cover(sightings: list[Sighting], size_px: tuple[int, int]) -> float:
    import cv2

    points = np.concatenate([view.pixels for view in sightings]).astype(np.float32)
    return float(cv2.contourArea(cv2.convexHull(points)) / (size_px[0] * size_px[1]))
