"""Whether a ball was seen along a flight, or something else that crosses it.

In every frame that a flight crosses, a ball would have been detected with a probability that
follows from its brightness, from the background there and from the least change that makes a
candidate at that place. What was detected and what was missed is compared with that, and so is how
the pictures look: a ball is one compact spot, equally bright in all frames. The alternative is
anything else that moves (a bird, a walker's edge, leaves): detected with an unknown probability,
the same in all frames, of any contrast, and not compact. The sum over the frames is the logarithm
of the ratio of both likelihoods; `docs/methods/finding.md` derives it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, logsumexp, ndtr

from calibration.adjustment.robust import fit_linear
from tracker.records import Backdrop, Candidates, Track

Array = NDArray[np.float64]


OWN_SPREAD = 12.0
"""Standard deviation of a ball's own brightness in a flight, luma steps: shade on it, its seam, the
cells of the encoder. From drawn clips: 10 to 17, the texture of the background included."""

BLENDED, BLENDS, ROUNDS = 0.3, (-0.2, 0.8), 5
"""Standard deviation and bounds of how far a ball's brightness follows its background's, and rounds
of its robust fit: none for a large ball, wholly for one of no size. From drawn clips."""

OTHER_SPREAD, OTHER_CHANGE = 60.0, 30.0
"""Standard deviation of the contrast of anything else that moves, and of its change from picture to
picture, luma steps: half of what moves is of any contrast, half keeps its own. From drawn clips."""

STRANGE = 0.05
"""Share of a ball's pictures whose brightness is anything's: part hidden, before an edge, in
shadow. Common practice, no source."""

PURITIES_BALL, PURITIES_OTHER = (2.1, 1.2), (-1.6, 1.6)
"""Mean and standard deviation of the natural logarithm of the purity of a ball's pictures, and of
those of birds, people and leaves. From drawn clips."""

NEAR_PURITIES = (0.5, 1.0)
"""The same of a ball that is seen near, whose patches and shade show: from real footballs."""

MOST_A_PICTURE = 2.5
"""Bound of what one picture's purity or contrast counts: all of a flight's pictures may be off
together."""

CHANCES = (0.03, 0.97)
"""Bounds of the probability that a ball in the frame is detected: something may hide it, and noise
may show it. Common practice, no source."""

KEPT_SHARES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
"""Shares of the frames in which a faint ball may be left in the picture. Encoders of 5 to 40 Mbit/s
left balls of 1.4 to 2.1 px in 12 to 60 of 100 frames of foreign film, and more of most."""

RULED_PX, AROUND_PX = 5.0, 30.0
"""A stronger candidate within the first distance takes a ball's place, px; how common candidates
are is counted within the second."""

CLEAREST_SHARE = 0.2
"""A component that shows fewer of the pictures best, as a share, predicts no detection: an encoder
leaves out colour that is nearly that of the frame before. Common practice, no source."""

CODES = (16.0, 235.0)
"""Black and white of a picture, luma steps (ITU-R BT.709, 4.6): no ball is darker or brighter."""

PIXEL_WIDTHS = (1.0, 2.0)
"""Width of a pixel of luma and of the blue difference, luma px (ITU-T H.264, table 6-1: 4:2:0)."""

STOPS = 0.01
"""Share of balls that something stops or hides for good in flight: a net, a wall, a person. Common
practice, no source."""

LEAST_UNSEEN, LAST_TRIED, PLAINLY = 5, 4, 0.8
"""Frames without the ball after which it may have been stopped, last frames with it that are tried,
and the share of the frames before in which it would have been found that shows it. Common practice,
no source."""

RAREST = 1e-4
"""Least density of any contrast, 1 per luma step: a thing may be of any. Common practice, no
source."""


@dataclass(frozen=True)
class Visibility:
    """What the frames that a flight crosses say of it.

    Attributes
    ----------
    evidence : float
        Logarithm of the likelihood ratio of a ball against anything else that moves.
    seen, crossed : int
        Frames in which the ball was found, and frames that it crosses.
    expected : float
        Frames in which a ball would have been found, on average.
    unseen_before : int
        Number of the frame up to which it was most likely not there.
    absence : float
        Logarithm of the likelihood ratio of its not being there before that frame against a ball
        that was missed there.
    """

    evidence: float
    seen: int
    crossed: int
    expected: float
    unseen_before: int = 0
    absence: float = 0.0


@dataclass(frozen=True)
class Crossing:
    """The frames that a flight crosses.

    Attributes
    ----------
    frames : sequence of Candidates
        M of them.
    pixels : ndarray, shape (M, 2)
        Where the ball is in each, as of the still camera.
    gains : ndarray, shape (M, components)
        Summed change that a ball makes there for each luma step of its contrast.
    """

    frames: Sequence[Candidates]
    pixels: Array
    gains: Array


def visibility_of(
    track: Track,
    used: NDArray[np.bool_],
    crossing: Crossing,
    purities: tuple[float, float] = PURITIES_BALL,
    faint: bool = False,
) -> Visibility | None:
    """Compare a ball with anything else, by the frames that its flight crosses.

    Parameters
    ----------
    track : Track
        The measured positions, with their pictures.
    used : ndarray of bool, shape (N,)
        Which of them the flight explains.
    crossing : Crossing
    purities : tuple of float
        Mean and standard deviation of the logarithm of the purity of a ball's pictures.
    faint : bool
        Whether the ball is so small that it may be left out of some pictures.

    Returns
    -------
    Visibility or None
        None where nothing was measured, or nothing is known of the frames.
    """
    seen = _seen(track, used, crossing)
    if seen is None:
        return None
    frames, rows, chance = crossing.frames, seen.rows, seen.chance
    missed = np.ones(len(frames), bool)
    missed[rows] = False
    hits = int(len(frames) - np.sum(missed))
    detected = _detected(chance, missed, faint) - float(betaln(hits + 1, len(frames) - hits + 1))
    ratios = np.array([each.contrast_ratio for each in seen.shown])
    contrast = ratios[seen.clearest, np.arange(len(rows))]
    evidence = detected + float(np.sum(contrast) + np.sum(purity_ratio(seen.purity, purities)))
    row, absence = _absence(chance, missed)
    return Visibility(
        evidence, hits, len(frames), float(np.sum(chance)), frames[row].frame, absence
    )


def chances(track: Track, used: NDArray[np.bool_], crossing: Crossing) -> Array | None:
    """Return the probability that a ball is detected in each frame that it crosses, shape (M,).

    None where nothing was measured, or nothing is known of the frames (all as of `visibility_of`).
    """
    seen = _seen(track, used, crossing)
    return None if seen is None else seen.chance


@dataclass(frozen=True)
class _Seen:
    """What is seen of a ball: rows (N,) of a crossing's frames, and every frame's chance (M,)."""

    rows: NDArray[np.int64]
    shown: list["_Component"]
    clearest: NDArray[np.int64]
    purity: Array
    chance: Array


def _seen(track: Track, used: NDArray[np.bool_], crossing: Crossing) -> _Seen | None:
    frames = crossing.frames
    row_of = {each.frame: row for row, each in enumerate(frames)}
    chosen = used & np.array([frame in row_of for frame in track.frames.tolist()], bool)
    if track.pictures is None or not np.any(chosen) or not all(each.backdrops for each in frames):
        return None
    rows = np.array([row_of[frame] for frame in track.frames[chosen].tolist()], np.int64)
    pictures = track.pictures.part(chosen)
    count = min(pictures.contrasts.shape[1], *(len(each.backdrops) for each in frames))
    shown = [
        _Component(_surroundings(crossing, number), rows, pictures.contrasts[:, number])
        for number in range(count)
    ]
    clearest = np.argmax([each.clearness for each in shown], axis=0)
    unseen = np.prod(
        [
            each.chance_unseen
            for number, each in enumerate(shown)
            if np.mean(clearest == number) >= CLEAREST_SHARE
        ],
        axis=0,
    )
    # The probability that no stronger candidate takes the ball's place.
    alone = np.exp(-others_around(crossing) * (RULED_PX / AROUND_PX) ** 2)
    chance = np.clip((1.0 - unseen) * alone, *CHANCES)
    return _Seen(rows, shown, clearest, pictures.purity, chance)


def _detected(chance: Array, missed: NDArray[np.bool_], faint: bool) -> float:
    """Return the logarithm of the likelihood of what was found and missed of a ball.

    A faint ball may be left out of the picture, by an encoder or by what smooths its noise, in any
    share of the frames: each is as likely as another before.
    """
    kept = np.array(KEPT_SHARES if faint else (1.0,))[:, None]
    found = np.sum(np.log(kept * chance[~missed]), axis=1)
    likelihood = found + np.sum(np.log(1.0 - kept * chance[missed]), axis=1)
    return float(logsumexp(likelihood) - np.log(len(kept)))


def _absence(chance: Array, missed: NDArray[np.bool_]) -> tuple[int, float]:
    """Return the row before which a ball was most likely not there, and the log-likelihood ratio.

    A find before that row is chance: it counts as the least likely find of a ball does.
    """
    found = np.flatnonzero(~missed)[:LAST_TRIED]
    lost = np.where(missed, -np.log(1.0 - chance), np.log(CHANCES[0]))
    ratios = [float(np.sum(lost[:row])) - float(np.log(len(chance) / STOPS)) for row in found]
    best = int(np.argmax(ratios))
    return int(found[best]), ratios[best]


def until_stopped(
    track: Track, used: NDArray[np.bool_], crossing: Crossing, whole: Visibility
) -> Visibility | None:
    """Return what the frames say up to where something stopped the ball, None where nothing did.

    A ball that was caught by a net is missed in every frame after that. The place of the stop is
    one of those that the flight crosses, which costs the logarithm of their number.

    Parameters
    ----------
    track, used, crossing
        As of `visibility_of`.
    whole : Visibility
        What all frames say.
    """
    shown = set(track.frames[used].tolist())
    rows = [row for row, each in enumerate(crossing.frames) if each.frame in shown]
    best: Visibility | None = None
    for last in rows[-LAST_TRIED:]:
        end = last + 1
        if len(crossing.frames) - end < LEAST_UNSEEN:
            continue
        part = Crossing(crossing.frames[:end], crossing.pixels[:end], crossing.gains[:end])
        seen = visibility_of(track, used, part)
        if seen is None or seen.seen < PLAINLY * seen.expected:
            continue
        evidence = seen.evidence - float(np.log(len(crossing.frames) / STOPS))
        if evidence > (whole if best is None else best).evidence:
            best = replace(seen, evidence=evidence)
    return best


@dataclass(frozen=True)
class _Places:
    """One component's surroundings of a flight, one row a frame: shapes (M,).

    `least` is the least contrast of a ball that makes a candidate.
    """

    least: Array
    level: Array
    light: Array
    spread: Array


@dataclass(frozen=True)
class _Component:
    """What one component shows of a ball: the contrasts (N,) of its pictures in some rows."""

    places: _Places
    rows: NDArray[np.int64]
    contrasts: Array

    @cached_property
    def expected(self) -> Array:
        """Contrast of a ball of one brightness in every frame, shape (M,).

        A ball of few pixels blends with its background: its brightness may follow that.
        """
        known = np.isfinite(self.contrasts)
        light = self.places.light
        if not np.any(known):
            return np.zeros(len(light))
        seen = light[self.rows[known]]
        design = np.column_stack([np.ones(len(seen)), seen - seen.mean()])
        ridge = np.diag([0.0, (OWN_SPREAD / BLENDED) ** 2])
        own = self.contrasts[known] + seen
        fit = fit_linear(design, own, rounds=ROUNDS, least_sigma=OWN_SPREAD, ridge=ridge)
        middle, slope = fit.parameters.tolist()
        slope = float(np.clip(slope, *BLENDS))
        found: Array = np.clip(middle + slope * (light - seen.mean()), *CODES) - light
        return found

    @property
    def chance_unseen(self) -> Array:
        """Probability that a ball of this brightness makes no candidate, shape (M,)."""
        places = self.places
        mean = self.expected
        upper, lower = (places.least - mean) / places.spread, (-places.least - mean) / places.spread
        found: Array = ndtr(upper) - ndtr(lower)
        return found

    @property
    def clearness(self) -> Array:
        """Contrast over the least that makes a candidate, shape (N,)."""
        found: Array = np.nan_to_num(np.abs(self.contrasts)) / self.places.least[self.rows]
        return found

    @property
    def contrast_ratio(self) -> Array:
        """Log-likelihood ratio of each picture's contrast, bounded, shape (N,)."""
        contrasts = np.nan_to_num(self.contrasts)
        mean, spread = self.expected[self.rows], self.places.spread[self.rows]
        change = contrasts - np.median(contrasts)
        other = 0.5 * (_normal(contrasts, OTHER_SPREAD) + _normal(change, OTHER_CHANGE)) + RAREST
        ball = (1.0 - STRANGE) * _normal(contrasts - mean, spread) + STRANGE * other
        return np.clip(np.log(ball / other), -MOST_A_PICTURE, MOST_A_PICTURE)


def _surroundings(crossing: Crossing, component: int) -> _Places:
    wide = PIXEL_WIDTHS[component]
    own = (crossing.pixels - (wide - 1.0) / 2.0) / wide
    found = np.array(
        [
            _at(each.backdrops[component], place)
            for each, place in zip(crossing.frames, own, strict=True)
        ]
    )
    limit, level, light, texture, weakest = found.T
    least = np.maximum(limit, weakest * level) / np.maximum(crossing.gains[:, component], 1e-3)
    return _Places(least, level, light, np.hypot(texture, OWN_SPREAD))


def _at(backdrop: Backdrop, place: Array) -> tuple[float, float, float, float, float]:
    """Return limit, level, light, texture and the weakest strength kept at a place."""
    left, top, right, bottom = backdrop.window
    rows, columns = backdrop.limit.shape
    across, down = place.tolist()
    row = int(min(max((down - top) / max(bottom - top, 1) * rows, 0), rows - 1))
    column = int(min(max((across - left) / max(right - left, 1) * columns, 0), columns - 1))
    maps = (backdrop.limit, backdrop.level, backdrop.light, backdrop.texture)
    limit, level, light, texture = (float(each[row, column]) for each in maps)
    return limit, level, light, texture, backdrop.weakest


def others_around(crossing: Crossing) -> Array:
    """Return how many candidates are about the ball's place beside its own, shape (M,)."""
    counts = np.array([len(each.pixels) for each in crossing.frames], np.int64)
    every = np.concatenate([np.empty((0, 2)), *(each.pixels for each in crossing.frames)])
    owner = np.repeat(np.arange(len(counts)), counts)
    away = np.hypot(*(every - crossing.pixels[owner]).T)
    around = np.bincount(owner[away < AROUND_PX], minlength=len(counts))
    own = np.bincount(owner[away < RULED_PX], minlength=len(counts))
    return np.asarray(around - (own > 0), float)


def purity_ratio(purity: Array, purities: tuple[float, float] = PURITIES_BALL) -> Array:
    """Return the log-likelihood ratio of each picture's purity, bounded, shape (N,)."""
    (ball, ball_sd), (other, other_sd) = purities, PURITIES_OTHER
    size = np.log(np.maximum(purity, 1e-6))
    # Beyond the middle of either it is no less that one's.
    as_ball = -0.5 * (np.minimum(size - ball, 0.0) / ball_sd) ** 2 - np.log(ball_sd)
    as_other = -0.5 * (np.maximum(size - other, 0.0) / other_sd) ** 2 - np.log(other_sd)
    found: Array = np.clip(as_ball - as_other, -MOST_A_PICTURE, MOST_A_PICTURE)
    return found


def _normal(off: Array, spread: Array | float) -> Array:
    density: Array = np.exp(-0.5 * (off / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
    return density
