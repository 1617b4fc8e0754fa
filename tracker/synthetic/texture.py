"""Seeded noise that tiles, and sums of it over wavelengths."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""

TILE = 512
"""Edge of a noise tile in cells; one wavelength is `CELLS` cells."""
CELLS = 8
"""Cells of the noise to one wavelength, so that linear interpolation between them is smooth."""


@lru_cache(maxsize=48)
def tile(seed: int) -> Floats:
    """Return smooth noise of zero mean and unit variance that tiles, shape (TILE, TILE)."""
    rng = np.random.default_rng([seed, 101])
    white = np.fft.rfft2(rng.standard_normal((TILE, TILE)))
    down, over = np.fft.fftfreq(TILE) * CELLS, np.fft.rfftfreq(TILE) * CELLS
    radius = np.hypot(down[:, None], over[None, :])
    smooth = np.fft.irfft2(white * radius * np.exp(-2.0 * radius**2), (TILE, TILE))
    found: Floats = (smooth / smooth.std()).astype(np.float32)
    return found


@dataclass(frozen=True)
class Octave:
    """One wavelength of a texture and how strong it is."""

    wavelength: float
    strength: float


def sample(seed: int, across: Floats, down: Floats, wavelength: float) -> Floats:
    """Return the tile at plane coordinates (any equal shapes) with the given wavelength."""
    noise = tile(seed)
    scale = CELLS / wavelength
    column = (across * np.float32(scale) + np.float32(37.7)).astype(np.float32)
    row = (down * np.float32(scale) + np.float32(91.3)).astype(np.float32)
    return cv2.remap(noise, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def layered(
    seed: int,
    plane: tuple[Floats, Floats],
    octaves: Sequence[Octave],
    footprint: tuple[Floats | float, Floats | float] = (0.0, 0.0),
) -> Floats:
    """Return a sum of octaves, each weakened as a pixel's footprint outgrows it.

    Parameters
    ----------
    seed : int
    plane : tuple of ndarray
        Two coordinates on the textured surface, m.
    octaves : sequence of Octave
    footprint : tuple
        Width and depth of a pixel on the surface, m. Averaging over a width takes a wavelength
        out like a low-pass filter; averaging over a long, narrow depth only thins it, as the
        mean of independent patches does.
    """
    total = np.zeros(plane[0].shape, np.float32)
    for index, octave in enumerate(octaves):
        width, depth = footprint
        fade = np.exp(-np.square(2.0 * np.asarray(width) / octave.wavelength))
        if np.max(fade) < 0.02:
            continue
        fade = fade / np.sqrt(1.0 + np.asarray(depth) / octave.wavelength)
        noise = sample(seed + index % 3, plane[0], plane[1], octave.wavelength)
        total += (octave.strength * fade * noise).astype(np.float32)
    return total
