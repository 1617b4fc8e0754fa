"""Shares of outings or evenings in the shots of a setup, of which there may be thousands."""

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray


class Shares(Mapping[str, float]):
    """The share of each name, in the names' order.

    Parameters
    ----------
    names : sequence of str
        Sorted, each once.
    values : ndarray, shape (N,)
    """

    def __init__(self, names: Sequence[str], values: NDArray[np.float64]) -> None:
        self.names, self.array = tuple(names), values

    @classmethod
    def of(cls, names: Sequence[str], places: NDArray[np.intp]) -> "Shares":
        """Return the share of each name in shots.

        Parameters
        ----------
        names : sequence of str
        places : ndarray of int, shape (N,)
            The place of each shot's name.
        """
        counts = np.bincount(places, minlength=len(names))
        used = np.flatnonzero(counts).tolist()
        used.sort(key=names.__getitem__)
        return cls([names[place] for place in used], counts[used] / max(1, places.size))

    def __getitem__(self, name: str) -> float:
        """Return the share of a name."""
        return self._by_name[name]

    def __iter__(self) -> Iterator[str]:
        """Go through the names."""
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def spread(self) -> float:
        """Root of the sum of their squares: what is left of independent errors in a mean."""
        return math.sqrt(float(self.array @ self.array))

    def common(self, other: "Shares") -> float:
        """Return the sum over names of the products of both shares."""
        if self.names == other.names:
            return float(self.array @ other.array)
        return float(sum(share * other.get(name, 0.0) for name, share in self.items()))

    @cached_property
    def _by_name(self) -> dict[str, float]:
        return dict(zip(self.names, self.array.tolist(), strict=True))


NOTHING = Shares((), np.zeros(0))
"""Of no shots."""
