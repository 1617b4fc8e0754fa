"""How well a ball can be placed: by the sensor's light alone, and by what the file keeps of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import sigma_of
from tracker.synthetic import colour
from tracker.synthetic.exposure import Streak
from tracker.synthetic.plate import Plate
from tracker.synthetic.sensor import Sensor, information
from tracker.synthetic.sprite import Box
from tracker.video import frames, inspect

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Ideal:
    """A noiseless ball in one frame and how its pixels answer to its place.

    Attributes
    ----------
    box : tuple of int
        Left, top, right, bottom in the frame.
    codes : ndarray, shape (height, width)
        Luma.
    slopes : ndarray, shape (2, height, width)
        Derivative of luma by the column and the row of the ball, codes/px.
    sigma : ndarray, shape (height, width)
        Standard deviation of the noise, its rounding to whole codes included.
    covariance : ndarray, shape (2, 2)
        Cramér-Rao bound of the position, px²; NaN where nothing bounds it. It is that of the
        sensor's noise; what the encoder takes away is not in it.
    strength : float
        Signal over noise of a filter matched to the noiseless ball.
    """

    box: Box
    codes: Array
    slopes: Array
    sigma: Array
    covariance: Array
    strength: float


@dataclass
class TrueSighting:
    """One ball in one frame, as it truly was.

    Attributes
    ----------
    frame : int
    time_s : float
        True time at which the row that holds the ball was exposed, s.
    pixel : ndarray, shape (2,)
        Centre of the ball at that time.
    visible : bool
        False where it is outside the frame or hidden.
    direction_deg : float
        Direction of motion in the picture, clockwise from rightward (rows grow downward).
    streak_px, diameter_px : float
        Route of the centre during the exposure; width of the ball.
    ideal : Ideal, optional
        None where nothing of it lies in the frame.
    """

    frame: int
    time_s: float
    pixel: Array
    visible: bool
    direction_deg: float
    streak_px: float
    diameter_px: float
    ideal: Ideal | None = None

    @property
    def covariance(self) -> Array:
        """Cramér-Rao bound of the position, shape (2, 2), px²; NaN where there is none."""
        return np.full((2, 2), np.nan) if self.ideal is None else self.ideal.covariance

    @property
    def strength(self) -> float:
        """Signal over noise of a matched filter."""
        return 0.0 if self.ideal is None else self.ideal.strength


def ideal(plate: Plate, seen: Streak, sensor: Sensor) -> Ideal:
    """Return the noiseless ball before the plate it is about to be laid on."""
    left, top, right, bottom = seen.box
    code = plate.luma[top:bottom, left:right].astype(float)
    behind = colour.decode(code)
    light = behind * (1.0 - seen.cover) + seen.light
    slopes = colour.encode_slope(light) * (seen.light_slopes - behind * seen.cover_slopes)
    sigma = np.sqrt(sensor.sigma(code) ** 2 + 1.0 / 12.0)
    codes = colour.encode(light).astype(float)
    known = information(slopes, sigma, sensor.grain_px)
    strength = float(np.sqrt(information((codes - code)[None], sigma, sensor.grain_px)[0, 0]))
    covariance = np.full((2, 2), np.nan)
    if np.linalg.cond(known) < 1e12:
        covariance[:] = np.linalg.inv(known)
    return Ideal(seen.box, codes, slopes, sigma, covariance, strength)


def coding_losses(
    path: Path, sightings: Sequence[Sequence[TrueSighting]], sensor: Sensor
) -> list[float | None]:
    """Return how much worse than its bound each shot can be placed in the finished file.

    For every visible ball the file's frame is compared with the noiseless one, and the
    difference is turned into a shift of the ball by the best linear estimator there is. The
    loss is the robust spread of those shifts in units of the bound: 1 where the file keeps all
    that the sensor saw. None where a shot has fewer than five such frames.
    """
    wanted: dict[int, list[tuple[int, Ideal]]] = {}
    for number, notes in enumerate(sightings):
        for seen in notes:
            if seen.visible and seen.ideal is not None and np.all(np.isfinite(seen.covariance)):
                wanted.setdefault(seen.frame, []).append((number, seen.ideal))
    shifts: list[list[Array]] = [[] for _ in sightings]
    if wanted:
        for frame in frames(inspect(path)):
            level = sensor.level(frame.index / sensor.fps)
            for number, ball in wanted.get(frame.index, ()):
                shifts[number].append(_whitened_shift(frame.luma, ball, level))
    return [sigma_of(np.concatenate(each)) if len(each) >= 5 else None for each in shifts]


def _whitened_shift(luma: NDArray[Any], ball: Ideal, level: float) -> Array:
    """Return the best linear estimate of the ball's shift, in units of its bound, shape (2,)."""
    left, top, right, bottom = ball.box
    expected = 16.0 + level * (ball.codes - 16.0)
    weighted = (luma[top:bottom, left:right] - expected) / ball.sigma**2
    scaled = ball.slopes / ball.sigma
    known = np.einsum("kij,lij->kl", scaled, scaled)
    shift = np.linalg.solve(known, np.einsum("kij,ij->k", ball.slopes, weighted))
    whitened: Array = np.linalg.solve(np.linalg.cholesky(ball.covariance), shift)
    return whitened
