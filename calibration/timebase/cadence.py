"""Whether a clip's even times can be true, told from what moves in it."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.timebase.beats import find_beats, holds_throughout, regular_numbers
from calibration.timebase.changes import Changes, find_repeats
from calibration.timebase.motion import fit_gaps, motion_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_LEAST_FRAMES = 48
_LEAST_REPEATS = 10

_SURE_T, _SURE_GAIN = 8.0, 0.4
_ODD_T, _ODD_GAIN = 12.0, 0.6
_MOST_GAIN = 2.0
_CLEAR_GAP = 10.0


class Cadence(StrEnum):
    """What the pictures say about a clip's times."""

    TRUE = "true"
    MENDED = "mended"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True)
class TimeBase:
    """Times of a clip's frames, checked against what moves in them.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        Times of the frames on the file's clock, mended where they can be.
    cadence : Cadence
        ``true``: the file's times stand. ``mended``: they were wrong and have been set right.
        ``doubtful``: they are wrong and cannot be set right.
    repeats : ndarray of bool, shape (N,)
        True for a frame that shows the picture before it once more; it is no new sight.
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
    """Check a clip's even times against what moves in it, and mend them where that is sure.

    Clips that were converted from one rate to another repeat frames or leave frames out at a
    regular beat, while the file says that all steps are equal. Frame k of such a clip shows
    source frame ``floor(r k + c)``, r being the ratio of the two rates, and a step that leaves a
    frame out shows about twice the motion of its neighbours. Times are changed only when the
    whole clip bears that out; a file whose steps are uneven is left alone.

    Parameters
    ----------
    changes : Changes
    file_times_s : array_like, shape (N,)
        Times on the file's own clock, s.
    """
    times = np.asarray(file_times_s, float)
    repeats = find_repeats(changes.whole, changes.peaks)
    nothing = np.zeros(len(times), dtype=np.int64)
    told = TimeBase(times, Cadence.TRUE, repeats, nothing, _repeat_words(repeats))
    if len(times) < _LEAST_FRAMES or not _even(times):
        return told
    if repeats.sum() >= max(_LEAST_REPEATS, 0.03 * len(times)):
        return _judge_repeats(told, changes)
    return _judge_steps(told, changes)


def _even(times: Array) -> bool:
    """Tell whether times lie on a straight line within a tenth of a step."""
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
    return f"{frames} the picture before once more, and tell nothing new."


def _judge_repeats(told: TimeBase, changes: Changes) -> TimeBase:
    """Decide whether the pictures between repeats were taken evenly or at the file's times."""
    kept = np.flatnonzero(~told.repeats)
    gaps = np.diff(kept, prepend=kept[0] - 1).astype(float)
    fit = fit_gaps(motion_of(changes, kept), gaps)
    if fit.t == 0.0:
        return told
    if fit.gain - 3.0 * fit.u > 0.5:
        words = " What follows them has moved on accordingly: the file's times stand."
        return replace(told, explanation=told.explanation + words)
    if fit.gain + 3.0 * fit.u > 0.5:
        return told
    step = _step(told.times_s)
    ratio, number = regular_numbers(told.repeats, 1.0 / step)
    if ratio is None:
        return replace(
            told,
            cadence=Cadence.DOUBTFUL,
            explanation=told.explanation
            + " They come at no regular beat, and motion goes on after "
            "them as if no time had passed: the file's times are wrong and cannot be mended. Use "
            "the file that the camera wrote.",
        )
    repeats = told.repeats | (np.diff(number, prepend=-1) == 0)
    source_s = step / ratio
    return replace(
        told,
        times_s=told.times_s[0] + number * source_s,
        cadence=Cadence.MENDED,
        repeats=repeats,
        explanation=f"The file shows {1 / step:.4g} frames a second made from {1 / source_s:.4g} "
        f"by repeating {int(repeats.sum())} of them at a regular beat. Times were mended; use the "
        "file that the camera wrote where you have it.",
    )


def _judge_steps(told: TimeBase, changes: Changes) -> TimeBase:
    """Decide whether frames were left out at a regular beat."""
    motion = motion_of(changes, np.arange(len(told.times_s)))
    step = _step(told.times_s)
    found = sorted(find_beats(motion, 1.0 / step), key=lambda beat: beat.fit.log_rest)
    if not found:
        return told
    best = found[0]
    needs = (_SURE_T, _SURE_GAIN) if best.usual else (_ODD_T, _ODD_GAIN)
    if best.fit.t < needs[0] or not needs[1] <= best.fit.gain <= _MOST_GAIN:
        return told
    if not holds_throughout(motion, best):
        return told
    others = [beat for beat in found[1:] if abs(beat.ratio / best.ratio - 1.0) > 0.005]
    gap = len(told.times_s) * ((others[0].fit.log_rest - best.fit.log_rest) if others else 1.0)
    source_fps = best.ratio / step
    if not best.usual or gap < _CLEAR_GAP:
        return replace(
            told,
            cadence=Cadence.DOUBTFUL,
            explanation="Frames seem to be left out at a regular beat, though the file says that "
            "all are equally far apart; which ones cannot be told for sure, so that the times "
            "cannot be mended. Use the file that the camera wrote.",
        )
    number = np.floor(best.ratio * np.arange(len(told.times_s)) + best.phase)
    gaps = np.diff(number, prepend=number[0] - 1).astype(np.int64)
    return replace(
        told,
        times_s=told.times_s[0] + (number - number[0]) / source_fps,
        cadence=Cadence.MENDED,
        left_out=gaps - 1,
        explanation=f"The file says that its frames are evenly {step * 1000:.4g} ms apart, but "
        f"they were chosen from {source_fps:.4g} a second: {int((gaps - 1).sum())} were left out "
        "at a regular beat. Times were mended; use the file that the camera wrote where you have "
        "it.",
    )
