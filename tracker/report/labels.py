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

LEADER_POINTS = 24
"""Points of a leader at which it is looked for in other labels."""


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
    turns = np.arange(DIRECTIONS) * 2.0 * np.pi / DIRECTIONS
    ways = np.column_stack([np.sin(turns), -np.cos(turns)])
    # The label's own half size along the way, so that `reach` is the length of the leader.
    half = np.min(0.5 * np.array(size) / np.maximum(np.abs(ways), 1e-9), axis=1)
    reaches = np.repeat(REACHES_INCHES, DIRECTIONS)
    far = reaches + np.tile(half, len(REACHES_INCHES))
    middles = np.array(point) + far[:, None] * np.tile(ways, (len(REACHES_INCHES), 1))
    boxes = [box_about((across, down), size).inside(bounds) for across, down in middles.tolist()]
    cost = _costs(boxes, point, taken, lines) + LEADER_COST * reaches
    return boxes[int(np.argmin(cost))]


def _costs(
    boxes: Sequence[Box], point: tuple[float, float], taken: Sequence[Box], lines: Array
) -> Array:
    """Return how bad each of some places is: what the label covers and what its leader crosses."""
    edges, others = _edges(boxes), _edges(taken)
    low, high = (
        np.maximum(edges[:, None, :2], others[:, :2]),
        np.minimum(edges[:, None, 2:], others[:, 2:]),
    )
    cost: Array = OVERLAP_COST * np.prod(np.maximum(high - low, 0.0), axis=2).sum(axis=1)
    cost += COVER_COST * _held(edges, lines[None]).sum(axis=1)
    cost += OVERLAP_COST * _held(edges, np.array([[point]]))[:, 0]
    middles = 0.5 * (edges[:, :2] + edges[:, 2:])
    leaders = np.linspace(np.broadcast_to(point, middles.shape), middles, LEADER_POINTS, axis=1)
    outside = ~_held(edges, leaders)
    for other in others:
        crossed = _held(np.broadcast_to(other, edges.shape), leaders) & outside
        cost += CROSSING_COST * crossed.any(axis=1)
    return cost


def _edges(boxes: Sequence[Box]) -> Array:
    """Return left, top, right and bottom of boxes, shape (N, 4)."""
    edges = [(box.left, box.top, box.right, box.bottom) for box in boxes]
    return np.array(edges, float).reshape(-1, 4)


def _held(edges: Array, points: Array) -> NDArray[np.bool_]:
    """Return which points, shape (N or 1, M, 2), lie in the box of their row, edges (N, 4)."""
    low, high = edges[:, None, :2], edges[:, None, 2:]
    found: NDArray[np.bool_] = np.all((points >= low) & (points <= high), axis=2)
    return found
