"""Beats at which a conversion between frame rates repeats frames or leaves them out."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.timebase.motion import NO_FIT, Fit, Motion, fit_gaps

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Tuned on drawn clips that were converted between the usual rates; no published source.
_LEAST_EVENTS = 10
"""Steps that leave a frame out below which no beat is claimed."""

_SEARCH_FRAMES = 6000
"""Frames, the liveliest of a clip, in which beats are searched for."""

_PHASES = 32
"""Phases tried for each ratio: each a 32nd of a step."""

_RATE_SLACK = 0.002
"""Share by which a camera's own rate differs from its nominal one."""

_LEAST_POWER = 12.0
"""Spectral power of a beat over the mean power of noise."""

_LEAST_GAP = 6.0
"""Fall of the log-likelihood that lets a measured ratio replace a nominal one."""

_TONE_SLACK = np.arange(-1.5, 1.51, 0.25)
"""Frequencies tried for a tone, off that of a beat, in cycles over the whole clip: a quarter of
the width of its line in a spectrum apart."""

_PLAIN_TONE = -8.0
"""Logarithm of the share of a beat's own steps that a tone leaves over, below which the two are the
same: 0.03 %, as at 5 to 3; 8 to 5 leaves 0.9 %."""

FILM_RATES = (24.0, 25.0, 30.0, 48.0, 50.0, 60.0, 120.0, *(x / 1.001 for x in (24.0, 30.0, 60.0)))
"""Frame rates that cameras and screens use, frames a second (common practice, no source)."""


@dataclass(frozen=True)
class Beat:
    """One way in which frames may have been chosen: floor(ratio k + phase).

    `usual` marks a ratio of usual rates, by which times can be corrected.
    """

    ratio: float
    phase: float
    usual: bool
    fit: Fit

    def gaps(self, count: int) -> Array:
        """Return the source frames from each frame to the one before, shape (count,)."""
        return np.diff(np.floor(self.ratio * np.arange(-1, count) + self.phase))


def find_beats(motion: Motion, file_fps: float) -> list[Beat]:
    """Return the best beat of each ratio of rates that the motion supports."""
    first = _liveliest(motion.weight)
    part = motion.within(slice(first, first + _SEARCH_FRAMES))
    mass = part.weight.sum()
    if mass <= 0:
        return []
    signal = part.weight * (part.excess - (part.weight * part.excess).sum() / mass)
    size = 4 * len(signal)
    power = np.abs(np.fft.fft(signal, size)) ** 2 / max(float((signal**2).sum()), 1e-12)
    # A rare beat is a train of sharp ticks: it shows in its overtones more than in itself.
    places = np.arange(size)
    power = power[np.outer((1, 2, 3), places) % size].sum(axis=0)
    beats = []
    for ratio, usual in _ratios(file_fps):
        # A beat of the ratio r shows in the spectrum at r cycles a frame, whole cycles apart.
        offset = (places / size - ratio + 0.5) % 1.0 - 0.5
        band = np.abs(offset) < max(_RATE_SLACK * ratio, 0.75 / len(signal))
        strength = np.where(band, power, 0.0)
        if strength.max() < _LEAST_POWER:
            continue
        exact = _best_phase(part, ratio, usual)
        nearby = _best_phase(part, ratio + float(offset[np.argmax(strength)]), usual)
        gain_of_nearby = len(signal) * (exact.fit.log_rest - nearby.fit.log_rest)
        best = nearby if gain_of_nearby > _LEAST_GAP else exact
        best = replace(best, phase=(best.phase - best.ratio * first) % 1.0)
        gaps = best.gaps(len(motion.excess))
        if (gaps == np.ceil(best.ratio)).sum() >= _LEAST_EVENTS:
            beats.append(replace(best, fit=fit_gaps(motion, gaps)))
    return beats


def gain_over_tone(motion: Motion, beat: Beat) -> float:
    """Return how much likelier a beat is than a vibration of the camera: a log-likelihood.

    A camera that vibrates on its stand moves the picture by a sine, and the size of its steps
    follows a tone. Frames left out make a staircase, whose overtones no tone explains. A beat
    of two or three frames has none: nothing in the motion distinguishes it, and it is infinite.
    """
    steps = motion.expected(beat.gaps(len(motion.excess)))
    if rest_of_tone(replace(motion, excess=steps), beat.ratio) < _PLAIN_TONE:
        return np.inf
    return len(steps) * (rest_of_tone(motion, beat.ratio) - beat.fit.log_rest)


def rest_of_tone(motion: Motion, ratio: float) -> float:
    """Return the logarithm of the share of motion that the best tone near a beat leaves over.

    The tone is fitted by weighted least squares at the frequency of the beat and others nearby.
    """
    root = np.sqrt(motion.weight)
    if not root.any():
        return 0.0
    seen = root * (motion.excess - np.average(motion.excess, weights=motion.weight))
    whole = least = float(seen @ seen)
    count = len(seen)
    for turns in ratio + _TONE_SLACK / count:
        phase = 2.0 * np.pi * turns * np.arange(count)
        tone = root[:, None] * np.column_stack([np.cos(phase), np.sin(phase), np.ones(count)])
        rest = seen - tone @ np.linalg.lstsq(tone, seen, rcond=None)[0]
        least = min(least, float(rest @ rest))
    return float(np.log(least / (whole + 1e-12) + 1e-12))


def _best_phase(motion: Motion, ratio: float, usual: bool) -> Beat:
    """Return the beat of a ratio with the phase that leaves the smallest residual."""
    best = Beat(ratio, 0.0, usual, NO_FIT)
    for phase in np.arange(_PHASES) / _PHASES:
        beat = replace(best, phase=float(phase))
        fit = fit_gaps(motion, beat.gaps(len(motion.excess)))
        if fit.gain > 0 and fit.log_rest < best.fit.log_rest:
            best = replace(beat, fit=fit)
    return best


def _ratios(file_fps: float) -> list[tuple[float, bool]]:
    """Return ratios of source to file rate worth trying, and whether times can be corrected.

    Above 2 every step leaves frames out, and too little distinguishes one ratio from another.
    """
    usual = [rate / file_fps for rate in FILM_RATES]
    usual = [r for r in usual if 1.03 < r < 2.6 and abs(r - round(r)) > 0.02]
    odd = [1.0 + 1.0 / every for every in range(2, 13)]
    odd = [r for r in odd if all(abs(r / u - 1.0) > 0.005 for u in usual)]
    return [(r, r < 2.0) for r in usual] + [(r, False) for r in odd]


def _liveliest(weight: Array) -> int:
    """Return where the window of frames with the most motion begins."""
    if len(weight) <= _SEARCH_FRAMES:
        return 0
    sums = np.cumsum(np.pad(weight, (1, 0)))
    return int(np.argmax(sums[_SEARCH_FRAMES:] - sums[:-_SEARCH_FRAMES]))


def holds_throughout(motion: Motion, beat: Beat) -> bool:
    """Return whether each quarter of the clip's motion supports the beat."""
    gaps = beat.gaps(len(motion.excess))
    mass = np.cumsum(motion.weight)
    edges = np.searchsorted(mass, mass[-1] * np.array([0.25, 0.5, 0.75]))
    quarters = np.split(np.arange(len(gaps)), edges)
    return all(
        fit_gaps(motion.within(q), gaps[q]).gain > 0.4 * beat.fit.gain
        for q in quarters
        if len(q) > 2
    )


def regular_numbers(repeats: Flags, file_fps: float) -> tuple[float | None, Array]:
    """Return the ratio of rates and the source frame that each frame shows, from 0.

    The ratio is None when repeats come at no beat.
    """
    count = len(repeats)
    counted = 1.0 - repeats.sum() / (count - 1)
    usual = [rate / file_fps for rate in FILM_RATES]
    ratios = [r for r in usual if abs(r / counted - 1.0) < 0.1 and r < 1.0]
    places = np.arange(count)
    ratio, number, fewest = None, np.zeros(count), 0.15 * repeats.sum()
    for tried in (*ratios, counted):
        for phase in np.arange(64) / 64:
            shown = np.floor(tried * places + phase)
            wrong = ((np.diff(shown, prepend=-1) == 0) != repeats).sum()
            if wrong < fewest:
                ratio, number, fewest = tried, shown, wrong
    return ratio, number
