"""Check of a clip's evenly spaced times against the motion in its pictures."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.timebase.beats import find_beats, gain_over_tone, holds_throughout, regular_numbers
from calibration.timebase.changes import Changes, find_repeats
from calibration.timebase.motion import fit_gaps, motion_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Tuned on drawn clips that were converted between the usual rates; no published source.
_LEAST_FRAMES = 48
"""Frames below which a clip's times are not checked."""

_LEAST_REPEATS = 10
"""Repeated frames below which their beat is not examined."""

_SURE_T, _SURE_GAIN = 8.0, 0.4
"""Least t value and gain of a beat at a ratio of usual rates; a gain of 1 explains the motion."""

_ODD_T, _ODD_GAIN = 12.0, 0.6
"""The same for any other ratio, of which there are more to be chosen from."""

_MOST_GAIN = 2.0
"""A larger gain is not motion that goes on through a gap."""

_CLEAR_GAP = 10.0
"""Difference of log-likelihood to the next best ratio above which the best one is certain, and to a
tone above which it is no vibration of the camera."""

_DOUBLED, _DOUBLED_SHARE = 0.65, 0.8
"""Change of every second frame over that of its neighbours, the median, and share of them that
change less than those, where a converter doubled each frame and coded all anew: 0.46 and 0.94 on
foreign film. Seven films as filmed have 0.95 to 1.03 and half, one coarsely coded 0.67 and 0.69."""


class Cadence(StrEnum):
    """Verdict on the times of a clip."""

    TRUE = "true"
    MENDED = "mended"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True)
class TimeBase:
    """Times of a clip's frames, checked against what moves in them.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        Times of the frames on the file's clock, corrected where possible.
    cadence : Cadence
        ``true``: the file's times are kept. ``mended``: they were wrong and are corrected.
        ``doubtful``: they are wrong and cannot be corrected.
    repeats : ndarray of bool, shape (N,)
        True for a frame that repeats the picture before it; it holds no new observation.
    left_out : ndarray of int, shape (N,)
        Frames that are missing before each.
    explanation : str
        A sentence for a person; empty when there is nothing to say.
    """

    times_s: Array
    cadence: Cadence
    repeats: Flags
    left_out: NDArray[np.int64]
    explanation: str


def check_cadence(changes: Changes, file_times_s: ArrayLike) -> TimeBase:
    """Check a clip's evenly spaced times against its motion, and correct them where it is clear.

    Clips that were converted from one rate to another repeat frames or leave frames out at a
    regular beat, while the file says that all steps are equal. Frame k of such a clip shows
    source frame ``floor(r k + c)``, r being the ratio of the two rates, and a step that leaves a
    frame out shows about twice the motion of its neighbours. Times are changed only when every
    part of the clip supports it; a file whose steps are uneven is left alone.

    Parameters
    ----------
    changes : Changes
    file_times_s : array_like, shape (N,)
        Times on the file's own clock, s.
    """
    times = np.asarray(file_times_s, float)
    repeats = find_repeats(changes.whole, changes.peaks)
    nothing = np.zeros(len(times), dtype=np.int64)
    base = TimeBase(times, Cadence.TRUE, repeats, nothing, _repeat_words(repeats))
    if len(times) < _LEAST_FRAMES or not evenly_spaced(times):
        return base
    if repeats.sum() >= max(_LEAST_REPEATS, 0.03 * len(times)):
        return _judge_repeats(base, changes)
    return _judge_steps(base, changes)


def evenly_spaced(times: Array) -> bool:
    """Return whether times lie on a straight line within a tenth of a step."""
    places = np.arange(len(times))
    line = np.polynomial.Polynomial.fit(places, times, 1)
    return bool(np.abs(line(places) - times).max() < 0.1 * _step(times))


def _step(times: Array) -> float:
    return float((times[-1] - times[0]) / (len(times) - 1))


def _repeat_words(repeats: Flags) -> str:
    count = int(repeats.sum())
    if count == 0:
        return ""
    frames = "1 frame shows" if count == 1 else f"{count} frames show"
    return f"{frames} the picture before once more and add nothing new."


def _judge_repeats(base: TimeBase, changes: Changes) -> TimeBase:
    """Decide whether the pictures between repeats were taken evenly or at the file's times."""
    kept = np.flatnonzero(~base.repeats)
    gaps = np.diff(kept, prepend=kept[0] - 1).astype(float)
    fit = fit_gaps(motion_of(changes, kept), gaps)
    if fit.t == 0.0:
        return base
    if fit.gain - 3.0 * fit.u > 0.5:
        words = " What follows them has moved on accordingly: the file's times stand."
        return replace(base, explanation=base.explanation + words)
    if fit.gain + 3.0 * fit.u > 0.5:
        return base
    step = _step(base.times_s)
    ratio, number = regular_numbers(base.repeats, 1.0 / step)
    if ratio is None:
        return replace(
            base,
            cadence=Cadence.DOUBTFUL,
            explanation=base.explanation
            + " They come at no regular beat, and motion goes on after "
            "them as if no time had passed: the file's times are wrong and cannot be corrected. "
            "Use the file that the camera wrote.",
        )
    repeats = base.repeats | (np.diff(number, prepend=-1) == 0)
    source_s = step / ratio
    return replace(
        base,
        times_s=base.times_s[0] + number * source_s,
        cadence=Cadence.MENDED,
        repeats=repeats,
        explanation=f"The file shows {1 / step:.4g} frames a second made from {1 / source_s:.4g} "
        f"by repeating {int(repeats.sum())} of them at a regular beat. Times were corrected; "
        "use the file that the camera wrote where you have it.",
    )


def _judge_steps(base: TimeBase, changes: Changes) -> TimeBase:
    """Decide whether frames were left out at a regular beat."""
    motion = motion_of(changes, np.arange(len(base.times_s)))
    step = _step(base.times_s)
    found = sorted(find_beats(motion, 1.0 / step), key=lambda beat: beat.fit.log_rest)
    if not found:
        return base
    best = found[0]
    needs = (_SURE_T, _SURE_GAIN) if best.usual else (_ODD_T, _ODD_GAIN)
    if best.fit.t < needs[0] or not needs[1] <= best.fit.gain <= _MOST_GAIN:
        return base
    if not holds_throughout(motion, best) or gain_over_tone(motion, best) < _CLEAR_GAP:
        return base
    others = [beat for beat in found[1:] if abs(beat.ratio / best.ratio - 1.0) > 0.005]
    gap = len(base.times_s) * ((others[0].fit.log_rest - best.fit.log_rest) if others else 1.0)
    if not best.usual or gap < _CLEAR_GAP:
        return replace(
            base,
            cadence=Cadence.DOUBTFUL,
            explanation="Frames seem to be left out at a regular beat, though the file says that "
            "all are equally far apart; which ones is not certain, so the times cannot be "
            "corrected. Use the file that the camera wrote.",
        )
    return thinned(base, best.ratio, best.phase)


def without_doubles(base: TimeBase, changes: Changes) -> TimeBase:
    """Return times with every second frame as a repeat, where all such frames change less.

    A file of twice the source's rate shows each picture twice. Where it was coded anew a repeat
    differs from the picture before by what coding leaves, in a quiet scene by half as much as new
    pictures do. An encoder alone may treat frames so: what is found decides.

    Parameters
    ----------
    base : TimeBase
        With the file's times.
    changes : Changes

    Returns
    -------
    TimeBase
        That given where nothing is shown.
    """
    change = np.asarray(changes.whole, float)
    if len(change) < _LEAST_FRAMES or not evenly_spaced(base.times_s):
        return base
    around = 0.5 * (change[:-2] + change[2:])
    known = np.isfinite(around) & np.isfinite(change[1:-1]) & (around > 0.0)
    for parity in (0, 1):
        at = np.flatnonzero(known & (np.arange(1, len(change) - 1) % 2 == parity)) + 1
        ratio = change[at] / around[at - 1]
        if len(at) < _LEAST_FRAMES // 2 or np.median(ratio) > _DOUBLED:
            continue
        if np.mean(ratio < 1.0) > _DOUBLED_SHARE:
            fps = 1.0 / _step(base.times_s)
            return replace(
                base,
                cadence=Cadence.MENDED,
                repeats=np.arange(len(change)) % 2 == parity,
                explanation=f"Every second frame shows the picture before it once more: the file's "
                f"{fps:.4g} frames a second were made from {fps / 2.0:.4g}. These were left out; "
                "use the file that the camera wrote where you have it.",
            )
    return base


def thinned(base: TimeBase, ratio: float, phase: float) -> TimeBase:
    """Return times corrected for frames that were left out at a beat.

    Parameters
    ----------
    base : TimeBase
        With the file's times.
    ratio : float
        Rate of the source over the file's.
    phase : float
        Frame k shows source frame ``floor(ratio k + phase)``.
    """
    step = _step(base.times_s)
    source_fps = ratio / step
    number = np.floor(ratio * np.arange(len(base.times_s)) + phase)
    gaps = np.diff(number, prepend=number[0] - 1).astype(np.int64)
    return replace(
        base,
        times_s=base.times_s[0] + (number - number[0]) / source_fps,
        cadence=Cadence.MENDED,
        left_out=gaps - 1,
        explanation=f"The file says that its frames are evenly {step * 1000:.4g} ms apart, but "
        f"they were chosen from {source_fps:.4g} a second: {int((gaps - 1).sum())} were left out "
        "at a regular beat. Times were corrected; use the file that the camera wrote if you have "
        "it.",
    )
