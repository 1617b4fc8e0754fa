"""What general-purpose detectors make of frames: OpenCV's background model, photutils' star finder.

Both see luma and blue difference, as ours does, and know the ball's size and its step from one
frame to the next. Their few settings were chosen by ``python -m tests.bench.baselines --tune``.
"""

import warnings
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.detection import SearchSettings
from tracker.video import ClipFacts, frames

Array = NDArray[np.float64]
Detections = Iterator[tuple[int, Array]]

NOTHING = np.zeros((0, 2))
PLACE = ("x_centroid", "y_centroid")


@dataclass(frozen=True)
class BlobSettings:
    """Settings of the background model and of the gates on its blobs.

    Attributes
    ----------
    variances : float
        Squared distance from the model, in its variances, at which a pixel is foreground.
    history : int
        Frames that the model remembers.
    fill : float
        Least share of the square over its box's diagonal that a blob fills.
    """

    variances: float = 16.0
    history: int = 100
    fill: float = 0.2


@dataclass(frozen=True)
class StarSettings:
    """Settings of the star finder.

    Attributes
    ----------
    threshold : float
        In standard deviations of the picture's noise.
    background : bool
        Whether stars are sought in the frame less a slow mean of the frames, or less the frames
        one step of the ball earlier and later.
    size : float
        The star's width as a multiple of the ball's picture's.
    sharpness, roundness : tuple of float
        Limits, as photutils defines them.
    """

    threshold: float = 7.0
    background: bool = False
    size: float = 2.0
    sharpness: tuple[float, float] = (0.0, 2.0)
    roundness: tuple[float, float] = (-0.5, 0.5)


def mog2_blobs(facts: ClipFacts, look: SearchSettings, settings: BlobSettings) -> Detections:
    """Yield the middles of foreground blobs that could be a ball."""
    model = cv2.createBackgroundSubtractorMOG2(settings.history, settings.variances, False)
    side = look.diameter_px + look.step_px + 4.0
    most = 1.5 * (look.diameter_px + 2.0) * side
    for frame in frames(facts):
        mask = model.apply(_coloured(frame.luma, frame.blueness))
        count, _, stats, middles = cv2.connectedComponentsWithStats(mask)
        if frame.index < 3 or count > 3000:
            continue
        width, height, area = stats[1:, 2], stats[1:, 3], stats[1:, 4]
        filled = area / np.hypot(width, height) ** 2
        good = (area >= 2) & (area <= most) & (np.maximum(width, height) <= side)
        good &= (filled > settings.fill) | (area <= 6)
        yield frame.index, middles[1:][good]


def star_finder(facts: ClipFacts, look: SearchSettings, settings: StarSettings) -> Detections:
    """Yield the stars, bright or dark, yellow or blue, of pictures of what has changed."""
    fwhm = settings.size * float(np.clip(np.hypot(1.4, 0.8 * look.diameter_px), 1.5, 8.0))
    for index, picture in changes(facts, look, settings.background):
        yield index, stars(picture, look.most, fwhm, settings)


def stars(picture: NDArray[np.float32], most: int, fwhm: float, settings: StarSettings) -> Array:
    """Return the places of the strongest stars in a picture whose noise is one, shape (N, 2)."""
    from photutils.detection import DAOStarFinder

    limits = {"sharpness_range": settings.sharpness, "roundness_range": settings.roundness}
    finder = DAOStarFinder(settings.threshold, fwhm, **limits)
    # Its own search for peaks tries them one by one in Python, some seconds for a large frame;
    # here OpenCV searches the same convolved picture, and the finder judges and places them.
    smooth = cv2.filter2D(
        picture, cv2.CV_32F, finder.kernel.data[::-1, ::-1], borderType=cv2.BORDER_CONSTANT
    )
    reach = 2 * int(finder.min_separation) + 1
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    rows, columns = np.nonzero(
        (smooth > finder.threshold_eff) & (smooth >= cv2.dilate(smooth, around))
    )
    if not len(rows):
        return NOTHING
    if len(rows) > 4 * most:
        best = np.argsort(-smooth[rows, columns], kind="stable")[: 4 * most]
        rows, columns = rows[best], columns[best]
    finder = DAOStarFinder(
        settings.threshold,
        fwhm,
        n_brightest=most,
        xycoords=np.column_stack([columns, rows]),
        **limits,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that it found none
        table = finder(picture)
    if table is None:
        return NOTHING
    return np.column_stack([np.asarray(table[name], float) for name in PLACE])


def changes(
    facts: ClipFacts, look: SearchSettings, background: bool
) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """Yield pictures of what is in a frame and not in the usual one, in units of their noise."""
    held: deque[tuple[int, list[NDArray[np.float32]]]] = deque(maxlen=2 * look.lag + 1)
    usual: list[NDArray[np.float32]] = []
    for frame in frames(facts):
        parts = [frame.luma.astype(np.float32)]
        if frame.blueness is not None:
            parts.append(frame.blueness.astype(np.float32))
        if background:
            if usual:
                gaps = [np.abs(now - mean) for now, mean in zip(parts, usual, strict=True)]
                yield frame.index, _joined(gaps)
                for mean, now in zip(usual, parts, strict=True):
                    cv2.accumulateWeighted(now, mean, 0.05)
            else:
                usual = [part.copy() for part in parts]
            continue
        held.append((frame.index, parts))
        if len(held) == 2 * look.lag + 1:
            index, now = held[look.lag]
            yield (
                index,
                _joined([_passing(*each) for each in zip(held[0][1], now, parts, strict=True)]),
            )


def _passing(
    before: NDArray[np.float32], now: NDArray[np.float32], after: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return by how much a frame is above or below both its neighbours."""
    above = now - np.maximum(before, after)
    return np.maximum(np.maximum(above, np.minimum(before, after) - now), 0.0)


def _joined(gaps: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """Return the greater of each pixel's changes, each in units of its own noise."""
    height, width = gaps[0].shape
    parts = []
    for gap in gaps:
        # Of absolute values; at least half a step of the 8-bit scale.
        few = gap[::3, ::3]
        noise = max(1.4826 * float(np.median(few)), float(np.percentile(few, 95)) / 2.0, 0.5)
        part = gap / np.float32(noise)
        if part.shape != (height, width):
            part = cv2.resize(part, (width, height), interpolation=cv2.INTER_LINEAR)
        parts.append(part)
    return np.maximum.reduce(parts)


def _coloured(luma: NDArray[np.uint8], blueness: NDArray[np.uint8] | None) -> NDArray[np.uint8]:
    if blueness is None:
        return luma
    height, width = luma.shape
    return cv2.merge([luma, cv2.resize(blueness, (width, height))])
