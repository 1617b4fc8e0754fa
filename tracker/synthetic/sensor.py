"""The camera's sensor: when each row looks, how the light is blurred, and its noise."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.synthetic import colour
from tracker.synthetic.plate import Plate

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""
Codes = NDArray[np.uint8]

GREY = 0.18
"""Linear light of a mid-grey card, for which noise is stated; common practice, no source."""
STRIP = 72
"""Rows that get their noise at once, to save memory."""
SPARE = 193
"""Pixels by which the noise pool is larger than a frame, so that frames take other parts of it."""


@dataclass(frozen=True)
class Sensor:
    """How frames are taken.

    The time of a frame is that of the middle of the exposure of its middle row. A row lying a
    share ``s`` (-0.5 at the first, 0.5 at the last stored row) off the middle is exposed
    ``s * readout_s`` later.

    Parameters
    ----------
    fps : float
        True frames a second.
    exposure_s : float
        How long each row is exposed, s.
    readout_s : float
        From the first to the last row of the sensor as it is stored, s; 0 for a global shutter.
    rotation_deg : int
        Quarter turns counter-clockwise from the stored frame to the shown one: 0, 90, 180, 270.
    psf_px : float
        Standard deviation of the lens's point spread, px.
    noise : float
        Standard deviation of luma at middle grey, codes of 8 bits.
    shot_share : float
        Share of that variance that is shot noise; the rest is read noise.
    grain_px : float
        Standard deviation of the kernel that correlates neighbouring pixels' noise; 0 for none.
    drift : float
        Greatest relative change of the picture's level that auto-exposure makes.
    drift_period_s : float
    """

    fps: float = 60.0
    exposure_s: float = 1.0 / 500.0
    readout_s: float = 0.0
    rotation_deg: int = 0
    psf_px: float = 0.7
    noise: float = 1.3
    shot_share: float = 0.8
    grain_px: float = 0.4
    drift: float = 0.0
    drift_period_s: float = 6.0

    def row_share(self, pixels: Array, size_px: tuple[int, int]) -> Array:
        """Return how far down the stored frame shown pixels lie, -0.5 to 0.5, shape (N,)."""
        width, height = size_px
        column, row = pixels[:, 0], pixels[:, 1]
        # A counter-clockwise quarter turn shows the first stored row as the left column.
        way = {
            0: row / (height - 1),
            90: column / (width - 1),
            180: 1.0 - row / (height - 1),
            270: 1.0 - column / (width - 1),
        }
        return way[self.rotation_deg % 360] - 0.5

    def stored(self, plane: Codes) -> Codes:
        """Return a shown plane as the sensor stores it."""
        return np.rot90(plane, -(self.rotation_deg // 90))

    def level(self, time_s: float) -> float:
        """Return the factor that auto-exposure puts on the picture's codes at a time."""
        swing = np.sin(2.0 * np.pi * time_s / self.drift_period_s)
        return float(1.0 + self.drift * swing)

    def sigma(self, codes: Floats | Array) -> Array:
        """Return the standard deviation of luma noise at codes, 8-bit rounding left out.

        Variance of linear light is read noise plus shot noise in proportion to the light; the
        coding curve's slope carries it to codes.
        """
        light = colour.decode(codes)
        slope = colour.encode_slope(np.clip(light, 0.0, colour.BRIGHTEST * 0.999))
        unit = self.noise / float(colour.encode_slope(GREY))
        spread = unit * np.sqrt(1.0 - self.shot_share + self.shot_share * light / GREY)
        found: Array = slope * np.sqrt(np.maximum(spread, 0.0) ** 2)
        return found


class NoiseMaker:
    """Adds noise to plates and turns them into 8-bit planes; it holds its buffers."""

    def __init__(self, sensor: Sensor, plate: Plate, seed: int) -> None:
        self._sensor = sensor
        height, width = plate.luma.shape
        # The noise pool does not depend on the seed: frames of one session take pieces of it.
        self._pool = noise_pool(width + SPARE, height + SPARE, sensor.grain_px)
        self._sigma = sensor.sigma(plate.luma).astype(np.float32)
        self._chroma_sigma = 0.45 * sensor.noise
        self._rng = np.random.default_rng([seed, 31])
        self._strip = np.empty((STRIP, width), np.float32)
        self._planes = [
            np.empty(plane.shape, np.uint8) for plane in (plate.luma, plate.blue, plate.red)
        ]

    def expose(self, plate: Plate, time_s: float) -> tuple[Codes, Codes, Codes]:
        """Return luma, blue and red planes, valid until the next call."""
        level = self._sensor.level(time_s)
        left, top, sign = self._rng.integers(SPARE), self._rng.integers(SPARE), self._sign()
        height, width = plate.luma.shape
        for row in range(0, height, STRIP):
            rows = min(STRIP, height - row)
            part = slice(row, row + rows)
            noise = self._pool[top + row : top + row + rows, left : left + width]
            strip = self._strip[:rows]
            cv2.multiply(noise, self._sigma[part], dst=strip, scale=sign)
            cv2.add(strip, plate.luma[part], dst=strip)
            if level != 1.0:
                cv2.addWeighted(strip, level, strip, 0.0, 16.0 * (1.0 - level), dst=strip)
            cv2.convertScaleAbs(strip, dst=self._planes[0][part])
        for plane, out in zip((plate.blue, plate.red), self._planes[1:], strict=True):
            left, top = self._rng.integers(SPARE), self._rng.integers(SPARE)
            noise = self._pool[top : top + plane.shape[0], left : left + plane.shape[1]]
            for row in range(0, plane.shape[0], STRIP):
                part = slice(row, row + STRIP)
                tinted = cv2.scaleAdd(noise[part], self._sign() * self._chroma_sigma, plane[part])
                cv2.convertScaleAbs(tinted, dst=out[part])
        return self._planes[0], self._planes[1], self._planes[2]

    def _sign(self) -> float:
        return 1.0 if self._rng.integers(2) else -1.0


@lru_cache(maxsize=4)
def noise_pool(width: int, height: int, grain_px: float) -> Floats:
    """Return normal noise of unit variance, its neighbours correlated by `grain_px`."""
    rng = np.random.default_rng(977)
    pool: Floats = rng.standard_normal((height, width), dtype=np.float32)
    if grain_px > 0:
        pool = cv2.filter2D(pool, -1, grain_kernel(grain_px))
        pool = pool / pool.std()
    pool.setflags(write=False)
    return pool


def grain_kernel(grain_px: float) -> Array:
    """Return the kernel of unit energy that correlates white noise, shape (7, 7)."""
    reach = np.arange(-3.0, 4.0)
    line = np.exp(-0.5 * (reach / grain_px) ** 2)
    kernel = np.outer(line, line)
    found: Array = kernel / np.sqrt(np.sum(kernel**2))
    return found


def information(slopes: Array, sigma: Array, grain_px: float) -> Array:
    """Return the Fisher information of parameters in a patch of pixels with stationary grain.

    Parameters
    ----------
    slopes : ndarray, shape (K, height, width)
        Derivative of the noiseless patch by each parameter, codes.
    sigma : ndarray, shape (height, width)
        Standard deviation of each pixel, codes, its rounding to whole codes included.
    grain_px : float

    Returns
    -------
    ndarray, shape (K, K)
        Sum of products of slopes, whitened in frequency by the spectrum of the grain
        (Kay, Fundamentals of Statistical Signal Processing, volume 1, 1993, section 3.9; section
        numbers from memory).
    """
    scaled = slopes / sigma
    if grain_px <= 0:
        found: Array = np.einsum("kij,lij->kl", scaled, scaled)
        return found
    padding = [(0, 0), (8, 8), (8, 8)]
    spectrum = np.fft.fft2(np.pad(scaled, padding))
    shape = spectrum.shape[1:]
    kernel = np.zeros(shape)
    kernel[:7, :7] = grain_kernel(grain_px)
    power = np.abs(np.fft.fft2(kernel)) ** 2
    # Rounding to whole codes adds white noise of 1/12, which keeps the spectrum off zero.
    floor = 1.0 / 12.0 / float(np.mean(sigma**2))
    power = power * (1.0 - floor) + floor
    products = np.einsum("kij,lij->kl", spectrum / power, spectrum.conj())
    result: NDArray[Any] = products.real / (shape[0] * shape[1])
    return result
