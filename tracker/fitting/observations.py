"""What a clip shows of one flight, as a fit takes it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.ends import GivenEnds
from tracker.records import Track

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Instants:
    """When each position was taken.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        Times of the frames' middle rows.
    row_share : ndarray, shape (N,)
        How far down the readout each position's row lies, -0.5 to 0.5.
    lean : ndarray, shape (N,)
        By how many px each position moves for a luma step of brightness slope.
    """

    times_s: Array
    row_share: Array
    lean: Array


@dataclass(frozen=True)
class SeenSizes:
    """How wide the ball is seen.

    Attributes
    ----------
    times_s : ndarray, shape (K,)
        On the track's clock.
    log_px : ndarray, shape (K,)
        Logarithm of its diameter in the frame, px.
    covariance : ndarray, shape (K, K)
        Of `log_px`: what spoils one picture's size alone, and what spoils all of them together.
    """

    times_s: Array
    log_px: Array
    covariance: Array


@dataclass(frozen=True)
class Observations:
    """The observed positions of one flight, and its first bounce where that was seen.

    Attributes
    ----------
    track : Track
        Positions before the first bounce.
    row_share : ndarray, shape (N,)
        See `Instants`.
    landed_s : tuple of float or None
        Time of the first bounce and its standard uncertainty, s: the ball's lowest point is on
        the ground then.
    given : GivenEnds or None
        What a person states of release and landing.
    sizes : SeenSizes or None
        How wide the ball is seen, where that is to say how far away it flies.
    """

    track: Track
    row_share: Array
    landed_s: tuple[float, float] | None = None
    given: GivenEnds | None = None
    sizes: SeenSizes | None = None

    @property
    def instants(self) -> Instants:
        """When each position was taken."""
        return Instants(self.track.times_s, self.row_share, self.track.lean)

    @property
    def roots(self) -> Array:
        """Matrices that whiten the residuals of the positions, shape (N, 2, 2)."""
        return np.linalg.inv(np.linalg.cholesky(self.track.covariances))

    def part(self, rows: NDArray[np.bool_]) -> "Observations":
        """Return the observations with the chosen positions only."""
        return replace(self, track=self.track.part(rows), row_share=self.row_share[rows])
