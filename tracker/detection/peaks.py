"""The places that rule their surroundings, of all squares that stand out in some frames."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.detection.difference import Places
from tracker.detection.noise import HIGHEST, NoiseMap

Marked = tuple[Places, Places, Places, Places]
"""Squares of 2 by 2 pixels, in order of their frames: each one's frame, row, column and sum."""

SUM_BIT, BLOCK_BIT, MOST_SUM = 27, 37, 1023
"""Bits of a square's number in the sort from which on its sum and its block stand, and the largest
sum: ten bits hold four times 255, and 27 any place in a frame of 8192 by 16384 pixels."""

NO_SQUARES: Marked = (np.zeros(0, np.int64),) * 4

FAR = -30_000
"""A row or column that is near to none."""


def part(marked: Marked, chosen: Places) -> Marked:
    """Return the chosen squares."""
    frames, rows, columns, sums = marked
    return frames[chosen], rows[chosen], columns[chosen], sums[chosen]


def over_threshold(marked: Marked, noise: NoiseMap) -> Marked:
    """Return the squares over their threshold."""
    _, rows, columns, sums = marked
    limit = noise.limit[rows, columns]
    over = sums > limit
    # The highest limit in whole numbers lets through what the threshold does not.
    beyond = np.flatnonzero(over & (limit == HIGHEST))
    over[beyond] = sums[beyond] > noise.thresholds_at(rows[beyond], columns[beyond])
    return part(marked, np.flatnonzero(over))


def in_order(parts: Sequence[Marked]) -> Marked:
    """Return squares of several lists in the order of their frames."""
    if len(parts) == 1:
        return parts[0]
    frames, rows, columns, sums = (np.concatenate(each) for each in zip(*parts, strict=True))
    order = np.argsort(frames, kind="stable")
    return frames[order], rows[order], columns[order], sums[order]


def peaks(marked: Marked, most: int, reach: int) -> Marked:
    """Return the squares that rule their surroundings, each frame's by descending sum.

    They are thinned in a list: first the greatest of each block with a side of `reach` and one,
    of these the `most` greatest of each frame, then those with no greater one within `reach`
    pixels. Rulers rule among themselves too, so that a frame may be thinned twice.
    """
    frames, rows, columns, sums = marked
    if len(sums) == 0:
        return marked
    # One number a square, sorted at once: by frame and block, then by sum, then in reading order.
    width, side = int(columns.max()) + 1, reach + 1
    across, down = width // side + 1, int(rows.max()) // side + 1
    block = (frames * down + rows // side) * across + columns // side
    keys = (block << BLOCK_BIT) + ((MOST_SUM - sums) << SUM_BIT) + rows * width + columns
    keys.sort()
    first = np.ones(len(keys), bool)
    first[1:] = keys[1:] >> BLOCK_BIT != keys[:-1] >> BLOCK_BIT
    keys = keys[first]
    frames = (keys >> BLOCK_BIT) // (across * down)
    lack = keys >> SUM_BIT & MOST_SUM
    order = np.argsort(frames * (MOST_SUM + 1) + lack, kind="stable")
    frames = frames[order]
    rank = np.arange(len(frames)) - np.searchsorted(frames, frames)
    kept = rank < most
    frames, rank, order = frames[kept], rank[kept], order[kept]
    rows, columns = np.divmod(keys[order] & ((1 << SUM_BIT) - 1), width)
    free = _free((frames, rank), (rows, columns), reach)
    return frames[free], rows[free], columns[free], MOST_SUM - lack[order[free]]


def _free(
    ranked: tuple[Places, Places], at: tuple[Places, Places], reach: int
) -> NDArray[np.bool_]:
    """Return which places have none before them in their frame within a reach.

    Parameters
    ----------
    ranked : tuple of ndarray, shape (N,)
        Of each place its frame, and its own place in the order of that.
    at : tuple of ndarray, shape (N,)
        Rows and columns.
    reach : int
    """
    # Small numbers, of which many fit into a register; where a frame has fewer places, far away.
    frames, rank = ranked
    across = int(rank.max()) + 1
    near = np.ones((int(frames[-1]) + 1, across, across), bool)
    for each in at:
        place = np.full(near.shape[:2], FAR, np.int16)
        place[ranked] = each
        near &= np.abs(place[:, :, None] - place[:, None, :]) <= reach
    # The first that is near one is itself at the latest.
    free: NDArray[np.bool_] = np.argmax(near, axis=2)[ranked] == rank
    return free
