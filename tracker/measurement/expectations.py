"""What the kind of start lets a verdict expect."""

from dataclasses import dataclass

MOST_SPEED_U = 0.03
"""Relative standard uncertainty of the exit speed above which a row is doubted."""


@dataclass(frozen=True)
class Expectations:
    """What the kind of start lets a verdict expect.

    Attributes
    ----------
    aimed : bool
        Whether a shot is fired down the firing line.
    most_speed_u : float or None
        Relative standard uncertainty of the exit speed above which a row is doubted; None where
        it is always large.
    landing_seen : bool or None
        Whether the landing was seen, where that is known from elsewhere than the fit.
    """

    aimed: bool = True
    most_speed_u: float | None = MOST_SPEED_U
    landing_seen: bool | None = None


USUAL_EXPECTATIONS = Expectations()
