"""Detections to tracks as a general-purpose tracker does it: no camera, no gravity, no release.

Each track predicts its next place by constant acceleration; detections go to tracks by optimal
assignment (`scipy.optimize.linear_sum_assignment`) inside a gate.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment


@dataclass
class Chain:
    """One track: its frames and places so far."""

    frames: list[int] = field(default_factory=list)
    places: list[np.ndarray] = field(default_factory=list)
    missed: int = 0

    def predicted(self, frame: int) -> np.ndarray:
        """Return the place in a frame, from a parabola through the last places."""
        if len(self.frames) == 1:
            return self.places[-1]
        count = min(len(self.frames), 8)
        times = np.array(self.frames[-count:], float) - frame
        degree = 2 if count >= 5 else 1
        fit = np.polyfit(times, np.array(self.places[-count:]), degree)
        return fit[-1]


@dataclass(frozen=True)
class Gates:
    """How far a detection may lie from where a track predicts it, and how a track ends.

    Attributes
    ----------
    first_px : float
        For a track of one detection, whose motion is not known: what a ball moves in a frame.
    px : float
        For any other.
    misses : int
        Frames in a row without a detection after which a track ends.
    pull_px : tuple of float
        Least and most downward acceleration of a track that is kept, per frame squared.
    """

    first_px: float
    px: float
    misses: int = 4
    pull_px: tuple[float, float] = (0.0, np.inf)


class Linker:
    """Takes the detections of each frame; keeps tracks that last."""

    def __init__(self, gates: Gates, least: int) -> None:
        self._gates, self._least = gates, least
        self._alive: list[Chain] = []
        self.done: list[Chain] = []

    def push(self, frame: int, places: np.ndarray) -> None:
        """Take the next frame's detections, shape (N, 2)."""
        taken = np.zeros(len(places), bool)
        got = np.zeros(len(self._alive), bool)
        if self._alive and len(places):
            predicted = np.array([chain.predicted(frame) for chain in self._alive])
            gate = np.array(
                [
                    self._gates.first_px if len(chain.frames) == 1 else self._gates.px
                    for chain in self._alive
                ]
            )
            cost = np.linalg.norm(predicted[:, None] - places[None], axis=2) / gate[:, None]
            chains, chosen = linear_sum_assignment(np.minimum(cost, 1e3))
            for chain, at in zip(chains, chosen, strict=True):
                if cost[chain, at] <= 1.0:
                    self._alive[chain].frames.append(frame)
                    self._alive[chain].places.append(places[at])
                    self._alive[chain].missed = 0
                    taken[at] = got[chain] = True
        for chain, was_got in zip(self._alive, got, strict=True):
            if not was_got:
                chain.missed += 1
        self._part()
        self._alive += [Chain([frame], [place]) for place in places[~taken]]

    def finish(self) -> list[Chain]:
        """Return every track that lasted."""
        for chain in self._alive:
            chain.missed = self._gates.misses + 1
        self._part()
        return self.done

    def _part(self) -> None:
        # A track that has not got under way ends at its first miss.
        ended = [
            chain.missed > (self._gates.misses if len(chain.frames) > 3 else 0)
            for chain in self._alive
        ]
        for chain, over in zip(self._alive, ended, strict=True):
            if over and len(chain.frames) >= self._least and _flies(chain, self._gates.pull_px):
                self.done.append(chain)
        self._alive = [chain for chain, over in zip(self._alive, ended, strict=True) if not over]


def _flies(chain: Chain, pull_px: tuple[float, float]) -> bool:
    """Tell whether a track could be a thrown ball's: it goes far, smoothly, and is pulled down.

    A general-purpose tracker that is put to this use would be given as much.
    """
    times, places = np.array(chain.frames, float), np.array(chain.places)
    extent = np.linalg.norm(places.max(axis=0) - places.min(axis=0))
    fit, *_ = np.polyfit(times - times.mean(), places, 2, full=True)
    at = times - times.mean()
    left = places - np.stack([at**2, at, np.ones_like(at)], axis=1) @ fit
    rough = float(np.median(np.linalg.norm(left, axis=1)))
    return bool(extent > 40.0 and rough < 4.0 and pull_px[0] < 2.0 * fit[0, 1] < pull_px[1])
