"""Places for labels in a picture: off one another, off what is drawn, inside the frame."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

OVERLAP_COST = 40.0
"""Cost of a label that covers a square inch of another; a matter of looks, as the next three."""
COVER_COST = 0.15
"""Cost of each point of a line that a label covers."""
CROSSING_COST = 0.6
"""Cost of a leader that runs through another label."""
LEADER_COST = 0.5
"""Cost of an inch of leader."""

REACHES_INCHES = (0.30, 0.42, 0.58, 0.8, 1.1)
"""How far a label's near edge may lie from its point."""

DIRECTIONS = 16
"""Directions in which a label is tried about its point."""


@dataclass(frozen=True)
class Box:
    """A rectangle, inches from the picture's left and top edges."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def middle(self) -> tuple[float, float]:
        """Return the centre: across, down."""
        return 0.5 * (self.left + self.right), 0.5 * (self.top + self.bottom)

    def overlap(self, other: "Box") -> float:
        """Return the area that both cover, square inches."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        tall = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(wide, 0.0) * max(tall, 0.0)

    def inside(self, bounds: "Box") -> "Box":
        """Return the box, moved into bounds where it sticks out of them."""
        over = max(bounds.left - self.left, 0.0) + min(bounds.right - self.right, 0.0)
        down = max(bounds.top - self.top, 0.0) + min(bounds.bottom - self.bottom, 0.0)
        return Box(self.left + over, self.top + down, self.right + over, self.bottom + down)

    def holds(self, points: Array) -> NDArray[np.bool_]:
        """Return which of some points, shape (N, 2), lie in it."""
        across, down = points.T
        found: NDArray[np.bool_] = (
            (across >= self.left)
            & (across <= self.right)
            & (down >= self.top)
            & (down <= self.bottom)
        )
        return found


def box_about(middle: tuple[float, float], size: tuple[float, float]) -> Box:
    """Return the box of a width and height about a point."""
    (across, down), (wide, tall) = middle, size
    return Box(across - wide / 2, down - tall / 2, across + wide / 2, down + tall / 2)


def place_label(
    point: tuple[float, float],
    size: tuple[float, float],
    taken: Sequence[Box],
    lines: Array,
    bounds: Box,
) -> Box:
    """Return where a label goes that is tied to a point by a leader.

    Parameters
    ----------
    point : tuple of float
        Inches from the left and the top edge, as all that follows.
    size : tuple of float
        Width and height of the label.
    taken : sequence of Box
        Labels that are there.
    lines : ndarray, shape (N, 2)
        Points of what is drawn.
    bounds : Box
        What the label stays within.
    """
    tried = []
    for reach in REACHES_INCHES:
        for turn in np.arange(DIRECTIONS) * 2.0 * np.pi / DIRECTIONS:
            way = np.array([np.sin(turn), -np.cos(turn)])
            # The label's own half size along the way, so that `reach` is the length of the leader.
            half = min(size[0] / 2 / max(abs(way[0]), 1e-9), size[1] / 2 / max(abs(way[1]), 1e-9))
            across, down = np.array(point) + (reach + half) * way
            box = box_about((float(across), float(down)), size).inside(bounds)
            tried.append((_cost(box, point, taken, lines) + LEADER_COST * reach, box))
    return min(tried, key=lambda each: each[0])[1]


def _cost(box: Box, point: tuple[float, float], taken: Sequence[Box], lines: Array) -> float:
    """Return how bad a place is: what the label covers and what its leader crosses."""
    cost = OVERLAP_COST * sum(box.overlap(other) for other in taken)
    cost += COVER_COST * float(np.sum(box.holds(lines))) if len(lines) else 0.0
    cost += OVERLAP_COST if box.holds(np.array([point]))[0] else 0.0
    leader = np.linspace(point, box.middle, 24)
    outside = leader[~box.holds(leader)]
    return cost + CROSSING_COST * sum(bool(np.any(other.holds(outside))) for other in taken)
