"""Clips whose frames carry their own number, so that every reading can be checked exactly."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.video import ClipWriter

WIDTH, HEIGHT = 160, 96
BITS = 8
FOOTAGE = Path(__file__).parents[3] / "shared" / "footage"


def coded(number: int, deep: bool = False) -> NDArray[Any]:
    """Return a frame whose top third shows `number` in binary, lowest bit first."""
    luma = np.full((HEIGHT, WIDTH), 90, dtype=np.uint16)
    for bit in range(BITS):
        left = bit * WIDTH // BITS
        luma[: HEIGHT // 3, left : left + WIDTH // BITS] = 210 if number >> bit & 1 else 40
    # A bright corner below shows which way up the picture is.
    luma[-HEIGHT // 3 :, : WIDTH // 4] = 180
    return luma * 4 if deep else luma.astype(np.uint8)


def number_of(luma: NDArray[Any]) -> int:
    """Read the number of an upright frame."""
    height, width = luma.shape
    cell = width // BITS
    strip = luma[height // 12 : height // 4]
    return sum(
        1 << bit
        for bit in range(BITS)
        if strip[:, bit * cell + cell // 4 : (bit + 1) * cell - cell // 4].mean() > 125
    )


def write(
    path: Path,
    numbers: Any,
    fps: float | Fraction = 30,
    times_s: Any = None,
    **style: Any,
) -> Path:
    """Write a clip of coded frames."""
    deep = "10" in style.get("pix_fmt", "")
    with ClipWriter(path, (WIDTH, HEIGHT), fps, **style) as clip:
        for place, number in enumerate(numbers):
            time_s = None if times_s is None else float(times_s[place])
            clip.write_luma_chroma(coded(int(number), deep), time_s=time_s)
    return path


def coded_turned(number: int, rotation_deg: int) -> NDArray[Any]:
    """Return the stored frame that a rotation flag turns back into `coded`."""
    return np.ascontiguousarray(np.rot90(coded(number), -rotation_deg // 90))
