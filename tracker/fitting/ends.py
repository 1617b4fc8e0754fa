"""What a person states of the ends of one flight: its release and its first bounce."""

from dataclasses import dataclass


@dataclass(frozen=True)
class GivenPlace:
    """A place with its standard uncertainty.

    Attributes
    ----------
    at : tuple of float
        Column and row of the frame, or metres along and across.
    u : float
        Of each coordinate, in the same unit.
    """

    at: tuple[float, float]
    u: float


@dataclass(frozen=True)
class GivenTime:
    """A true time in the clip with its standard uncertainty, s."""

    at_s: float
    u_s: float


@dataclass(frozen=True)
class GivenEnds:
    """Release and first bounce of one flight as a person states them; None where nothing is stated.

    Attributes
    ----------
    landing_m : GivenPlace or None
        Ground coordinates of the first bounce, along and across.
    landing_px : GivenPlace or None
        The ball's centre in the frame at the first bounce.
    release_px : GivenPlace or None
        The ball's centre in the frame at the release.
    release_s : GivenTime or None
        The time of the bounce stands in `Observations.landed_s`, where the film's stands too.
    """

    landing_m: GivenPlace | None = None
    landing_px: GivenPlace | None = None
    release_px: GivenPlace | None = None
    release_s: GivenTime | None = None

    @property
    def count(self) -> int:
        """Number of residuals."""
        places = (self.landing_m, self.landing_px, self.release_px)
        return 2 * sum(place is not None for place in places) + int(self.release_s is not None)
