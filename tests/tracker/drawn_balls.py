"""Pictures of balls drawn without the project's own template: finely sampled, then averaged."""

from functools import cache

import cv2
import numpy as np

from tracker.detection import ExpectedBall
from tracker.records import Cutouts

FINE = 8
"""Fine pixels to a pixel side."""


def disc(shape, centre, diameter, streak=(0.0, 0.0), soft=0.55):
    """Return the share of each pixel that a ball covers, drawn out along its streak.

    The disc is sampled eight times finer in both directions, blurred by a Gaussian lens and
    averaged over each pixel. Row and column counts come from `shape`, the centre is (column, row).
    """
    reach = diameter / 2 + np.linalg.norm(streak) / 2 + 5 * soft + 2
    left, top = np.maximum(np.floor(np.array(centre) - reach).astype(int), 0)
    right, bottom = np.minimum(np.ceil(np.array(centre) + reach).astype(int) + 1, shape[::-1])
    picture = np.zeros(shape)
    if right <= left or bottom <= top:
        return picture
    columns = left + (np.arange((right - left) * FINE) + 0.5) / FINE - 0.5
    rows = top + (np.arange((bottom - top) * FINE) + 0.5) / FINE - 0.5
    steps = max(1, int(np.ceil(np.linalg.norm(streak) * 3)))
    fine = np.zeros((len(rows), len(columns)), np.float32)
    for share in (np.arange(steps) + 0.5) / steps - 0.5:
        across = columns - centre[0] - share * streak[0]
        down = rows - centre[1] - share * streak[1]
        fine += across[None] ** 2 + down[:, None] ** 2 <= (diameter / 2) ** 2
    fine = cv2.GaussianBlur(fine / steps, (0, 0), soft * FINE, borderType=cv2.BORDER_REFLECT)
    blocks = fine.reshape(bottom - top, FINE, right - left, FINE).mean(axis=(1, 3))
    picture[top:bottom, left:right] = blocks
    return picture


def codes(light):
    """Return the luma codes of linear light, 1 being white (ITU-R BT.709-6, 1.2 and 3.4)."""
    bent = np.where(light < 0.018, 4.5 * light, 1.099 * np.maximum(light, 0.018) ** 0.45 - 0.099)
    return 16.0 + 219.0 * bent


def lit_balls(rng, count, *, diameter, ball, behind, fall, side=25):
    """Return cutouts of a ball lit from above in linear light, what is expected, and the truth.

    `ball` and `behind` are the linear light of its middle and of what lies behind it; `fall` is the
    share of the middle's light that the foot lacks and the top has more.
    """
    true = (side - 1) / 2 + rng.uniform(-0.5, 0.5, (count, 2))
    patches = np.empty((count, side, side), np.int16)
    for index, centre in enumerate(true):
        fine = (np.arange(side * FINE) + 0.5) / FINE - 0.5
        across, down = fine - centre[0], fine[:, None] - centre[1]
        cover = (across**2 + down**2 <= (diameter / 2) ** 2).astype(float)
        glow = cover * ball * (1.0 - fall * down / (diameter / 2))
        cover, glow = (
            cv2.GaussianBlur(each, (0, 0), 0.55 * FINE)
            .reshape(side, FINE, side, FINE)
            .mean(axis=(1, 3))
            for each in (cover, glow)
        )
        change = codes(behind * (1.0 - cover) + glow) - codes(behind)
        patches[index] = np.rint(2.0 * (change + rng.normal(0, 0.7, change.shape)))
    still = np.zeros((count, 2))
    expected = ExpectedBall(
        true, still, still + 99.0, still + 99.0, np.full(count, float(diameter))
    )
    return Cutouts(patches, np.zeros((count, 2), np.int64)), expected, true


@cache
def normals():
    """Numbers of the normal law, of which each picture takes a stretch of its own as its noise.

    To draw them anew for each picture took longer than to search it.
    """
    return np.random.default_rng(11).standard_normal(2**21, np.float32)


def film(picture, rng, noise):
    """Return what an 8-bit sensor makes of a picture of two million pixels at most."""
    first = rng.integers(normals().size - picture.size + 1)
    seen = noise * normals()[first : first + picture.size].reshape(picture.shape)
    seen += picture
    return np.clip(np.rint(seen, out=seen), 0, 255, out=seen).astype(np.uint8)


def covered(shape, centre, diameter, motion, exposure):
    """Return `disc` a frame before, in and a frame after that of the centre."""
    if not np.array_equal(motion, np.rint(motion)):
        return [
            disc(shape, centre + step * motion, diameter, motion * exposure) for step in (-1, 0, 1)
        ]
    # Moved by whole pixels, the same picture with an edge of nothing.
    columns, rows = (int(part) for part in motion)
    beside, above = abs(columns), abs(rows)
    height, width = shape
    wide = disc(
        (height + 2 * above, width + 2 * beside),
        np.add(centre, (beside, above)),
        diameter,
        motion * exposure,
    )
    return [
        wide[above - step * rows :][:height, beside - step * columns :][:, :width]
        for step in (-1, 0, 1)
    ]


def moving_balls(rng, count, *, diameter, contrast, noise, motion, exposure, side=41):
    """Return cutouts of a ball in many places of the pixel grid, what is expected, and the truth.

    Each cutting is made of three frames of its own, the ball moved by `motion` in each.
    """
    true = (side - 1) / 2 + rng.uniform(-0.5, 0.5, (count, 2))
    motion = np.array(motion, float)
    patches = np.empty((count, side, side), np.int16)
    for index, centre in enumerate(true):
        cover = covered((side, side), centre, diameter, motion, exposure)
        frames = [film(110.0 + contrast * each, rng, noise).astype(np.int16) for each in cover]
        patches[index] = 2 * frames[1] - frames[0] - frames[2]
    each = np.ones((count, 1))
    expected = ExpectedBall(
        pixels=true + rng.normal(0, 0.4, (count, 2)),
        motion_px=each * motion,
        before_px=-each * motion,
        after_px=each * motion,
        diameters_px=np.full(count, float(diameter)),
    )
    return Cutouts(patches, np.zeros((count, 2), np.int64)), expected, true
