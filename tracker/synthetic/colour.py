"""Between linear light and the coded luma and chroma of ITU-R BT.709, video range."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]
"""Of the precision that came in."""

WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
"""Share of red, green and blue in luma (ITU-R BT.709-6, item 3.2)."""

BRIGHTEST = 1.2
"""Linear light at which the sensor is full; 1.0 is reference white."""


def encode(light: ArrayLike) -> Floats:
    """Return the luma code, 16 to 245, of linear light (ITU-R BT.709-6, items 1.2 and 4.6)."""
    clipped = np.clip(light, 0.0, BRIGHTEST)
    bent = 1.099 * np.power(np.maximum(clipped, 0.018), 0.45) - 0.099
    return 16.0 + 219.0 * np.where(clipped < 0.018, 4.5 * clipped, bent)


def decode(code: ArrayLike) -> Floats:
    """Return the linear light of a luma code: the inverse of `encode`."""
    value = (np.asarray(code) - 16.0) / 219.0
    return np.where(
        value < 0.081, value / 4.5, np.power((np.maximum(value, 0.081) + 0.099) / 1.099, 1.0 / 0.45)
    )


def encode_slope(light: ArrayLike) -> Floats:
    """Return the derivative of `encode`, codes for a unit of linear light."""
    clipped = np.asarray(light)
    bent = 1.099 * 0.45 * np.power(np.maximum(clipped, 0.018), -0.55)
    slope = 219.0 * np.where(clipped < 0.018, 4.5, bent)
    return np.where((clipped > 0.0) & (clipped < BRIGHTEST), slope, 0.0)


def luma_chroma(rgb: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return luma, blue and red difference codes of linear light, shape (..., 3)."""
    coded = (encode(rgb) - 16.0) / 219.0
    luma = coded @ WEIGHTS.astype(coded.dtype)
    blue = 128.0 + 224.0 * (coded[..., 2] - luma) / 1.8556
    red = 128.0 + 224.0 * (coded[..., 0] - luma) / 1.5748
    return 16.0 + 219.0 * luma, blue, red
