"""Check of a clip's evenly spaced times against things that are known to move smoothly."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.timebase.beats import FILM_RATES
from calibration.timebase.cadence import TimeBase, evenly_spaced, thinned

Array = NDArray[np.float64]

MOST_RATIO, WHOLE = 5.2, 0.02
"""Largest ratio of source to file rate that is tried, and how near a whole number it leaves all
steps alike."""

PHASES = 64
"""Phases tried for each ratio."""

LEAST_LAGS = 16
"""Fewest lags from which a beat is claimed."""

LEAST_SHARE, GAINS = 0.8, (0.75, 1.25)
"""Share of the lags' variance that a beat must explain, and bounds of its gain: 1 explains the lags
to the millisecond. Chosen on drawn flights: noise alone explains a third at the most."""

CLEAR_GAP = 10.0
"""Difference of log-likelihood to the next best ratio above which the best one is certain."""

SAME_RATIO = 0.005
"""Share by which the ratios of two nominal rates differ that are one, as 60 and 60/1.001."""

OWN_FAMILY = 4.0
"""Log-likelihood by which rates over 1.001 must be better where the file's is whole, and the other
way round: over one flight the two hardly differ."""

DEGREE = 3
"""Degree in time of what a smooth motion's own fit takes away of its lags."""


@dataclass(frozen=True)
class Lags:
    """By how much the pictures of one moving thing are ahead of the file's times.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
        Numbers of the frames.
    ahead_s : ndarray, shape (N,)
        Time, on the file's clock, at which its smooth motion is where the picture shows it, less
        the frame's, s.
    weight : ndarray, shape (N,)
        Inverse variances, in any unit.
    """

    frames: NDArray[np.int64]
    ahead_s: Array
    weight: Array


@dataclass(frozen=True)
class _Fit:
    ratio: float
    phase: float
    gain: float
    share: float
    log_rest: float


def beat_of_lags(base: TimeBase, moving: Sequence[Lags]) -> TimeBase:
    """Return times corrected by a beat at which frames were left out, where lags show one.

    Before a still background nothing but a ball shows that frames were left out
    (`calibration.timebase.cadence` looks at the whole picture). Frame k shows source frame
    ``floor(r k + c)``: its lag is a sawtooth, as long as the source's step.

    Parameters
    ----------
    base : TimeBase
        With the file's times.
    moving : sequence of Lags

    Returns
    -------
    TimeBase
        That given where nothing is shown.
    """
    count = sum(len(each.frames) for each in moving)
    if count < LEAST_LAGS or not evenly_spaced(base.times_s):
        return base
    step_s = float(np.ptp(base.times_s)) / (len(base.times_s) - 1)
    ratios = [rate * step_s for rate in FILM_RATES]
    ratios = [each for each in ratios if 1.03 < each < MOST_RATIO and _beats(each)]
    fits = [_best_phase(moving, each, step_s) for each in ratios]
    if not fits:
        return base

    def unlikely(fit: _Fit) -> float:
        other = _is_whole(fit.ratio / step_s) is not _is_whole(1.0 / step_s)
        return count * fit.log_rest + OWN_FAMILY * other

    best = min(fits, key=unlikely)
    others = [each for each in fits if abs(each.ratio / best.ratio - 1.0) > SAME_RATIO]
    next_rest = min((each.log_rest for each in others), default=np.inf)
    clear = count * (next_rest - best.log_rest) > CLEAR_GAP
    if best.share < LEAST_SHARE or not GAINS[0] < best.gain < GAINS[1] or not clear:
        return base
    return thinned(base, best.ratio, best.phase)


def _log_rest(fit: _Fit) -> float:
    return fit.log_rest


def _is_whole(fps: float) -> bool:
    """Return whether a rate is a whole number, not one over 1.001."""
    return abs(fps - round(fps)) < abs(1.001 * fps - round(1.001 * fps))


def _beats(ratio: float) -> bool:
    return abs(ratio - round(ratio)) > WHOLE


def _best_phase(moving: Sequence[Lags], ratio: float, step_s: float) -> _Fit:
    """Return the beat of a ratio with the phase that explains the lags best."""
    phases = np.arange(PHASES) / PHASES
    fits = [_fitted(moving, ratio, float(phase), step_s) for phase in phases]
    return min(fits, key=_log_rest)


def _fitted(moving: Sequence[Lags], ratio: float, phase: float, step_s: float) -> _Fit:
    """Return how well one beat explains the lags, each thing's smooth part left out."""
    seen: list[Array] = []
    told: list[Array] = []
    for each in moving:
        root = np.sqrt(each.weight)
        saw = (np.floor(ratio * each.frames + phase) / ratio - each.frames) * step_s
        smooth = np.vander(each.frames - each.frames.mean(), DEGREE + 1) * root[:, None]
        basis = np.linalg.qr(smooth / np.maximum(np.abs(smooth).max(axis=0), 1e-12))[0]
        for values, into in ((each.ahead_s * root, seen), (saw * root, told)):
            into.append(values - basis @ (basis.T @ values))
    lags, saws = np.concatenate(seen), np.concatenate(told)
    whole = float(lags @ lags) + 1e-30
    gain = float(saws @ lags) / (float(saws @ saws) + 1e-30)
    rest = float(np.sum((lags - gain * saws) ** 2)) if gain > 0.0 else whole
    return _Fit(ratio, phase, gain, 1.0 - rest / whole, float(np.log(rest / whole + 1e-12)))
