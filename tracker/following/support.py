"""How far the candidates support a hypothesis: its log-likelihood ratio against clutter."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.following.hypothesis import Hypothesis, Pool, SearchContext

Array = NDArray[np.float64]

SEEN_CHANCE = 0.7
"""Probability that a ball in the picture gives a candidate. Common practice, no source: only its
order of magnitude matters."""

FAINT_CHANCE = 0.25
"""The same where a faint ball is looked for: on foreign film the lost ones of 1.4 to 2 px gave a
candidate in 11 to 35 of 100 frames, since the encoder left them out or little contrast was left."""

MISS = float(np.log(1.0 - SEEN_CHANCE))
"""Log-likelihood ratio of a frame without a candidate where the ball should be."""

GATE_SIGMAS = 3.0
"""Half-width of a gate in standard deviations of a candidate's position."""


def score(context: SearchContext, pool: Pool, hypothesis: Hypothesis, gate_px: float) -> Hypothesis:
    """Return the hypothesis with the support of the best candidate of every frame.

    A frame with a candidate at distance d counts ``log(1 - P + P N(d) / clutter)``, one
    without counts ``log(1 - P)`` (track score: S. Blackman and R. Popoli, Design and Analysis
    of Modern Tracking Systems, 1999, ch. 6). `gate_px` is three standard deviations of N.
    """
    chance, miss = chance_and_miss(context)
    path, seen = _path(context, pool, hypothesis)
    if not np.any(seen):
        return replace(hypothesis, support=-np.inf, hits=0, in_view=0, chosen=np.zeros(0, int))
    first, last = np.flatnonzero(seen)[[0, -1]]
    begin, end = np.searchsorted(pool.owner, [first, last + 1])
    owner = pool.owner[begin:end]
    gap = pool.pixels[begin:end] - path[owner]
    squared = gap[:, 0] ** 2 + gap[:, 1] ** 2
    # Frames in which the ball is out of view have no position, and so no distance.
    near = np.flatnonzero(squared < gate_px**2)
    ratios = log_ratio(squared[near], gate_px, pool.clutter[begin:end][near], chance)
    near += begin
    owner = pool.owner[near]
    # The best of each frame; of equal ones the first.
    order = np.lexsort((-ratios, owner))
    order = order[np.diff(owner[order], prepend=-1) > 0]
    winner = near[order]
    support = float(np.sum(np.maximum(ratios[order], miss)) + miss * (np.sum(seen) - len(order)))
    return replace(
        hypothesis,
        support=support,
        hits=len(winner),
        in_view=int(np.sum(seen)),
        chosen=winner,
    )


def chance_and_miss(context: SearchContext) -> tuple[float, float]:
    """Return how probable a candidate of a ball is, and the log-likelihood ratio without one."""
    if not context.faint:
        return SEEN_CHANCE, MISS
    return FAINT_CHANCE, float(np.log(1.0 - FAINT_CHANCE))


def log_ratio(
    squared_px: Array, gate_px: float, clutter: Array, seen_chance: float = SEEN_CHANCE
) -> Array:
    """Return the log-likelihood ratio of candidates at squared distances, each shape (N,)."""
    variance = (gate_px / GATE_SIGMAS) ** 2
    density = np.exp(-0.5 / variance * squared_px) / (2.0 * np.pi * variance)
    return np.log(1.0 - seen_chance + seen_chance * density / clutter)


def _path(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis
) -> tuple[Array, NDArray[np.bool_]]:
    """Return where the ball is in each frame of the pool, and whether it is in view."""
    times = pool.frame_times_s - hypothesis.release_s
    path = np.full((len(times), 2), np.nan)
    seen = (times >= 0.0) & (times <= hypothesis.trajectory.times_s[-1])
    if not np.any(seen):
        return path, seen
    pixels, shows = in_view(context, hypothesis.trajectory.at(times[seen])[:, :3])
    path[seen] = np.where(shows[:, None], pixels, np.nan)
    seen[seen] = shows
    return path, seen


def in_view(context: SearchContext, points: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return the pixels of points, shape (M, 2), and whether a ball there is in view, shape (M,).

    It is inside the frame, off its edge and above the ground.
    """
    pixels = context.camera.project(points)
    above = context.ground.above(points) >= context.ball_radius_m
    shows: NDArray[np.bool_] = context.camera.in_frame(pixels) & above
    return pixels, shows
