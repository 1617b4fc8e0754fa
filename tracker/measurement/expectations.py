"""What the kind of start lets a verdict expect."""

from dataclasses import dataclass

MOST_SPEED_U = 0.03
"""Relative standard uncertainty of the exit speed above which a row is doubted."""


LEAST_EVIDENCE = 0.0
"""Log-likelihood ratio of a ball against anything else that moves, below which a flight is no
ball's. On drawn film balls have 50 and more, what was reported falsely had -30 and less."""


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
    least_evidence : float
        Log-likelihood ratio of a ball against anything else that moves, below which a flight is no
        ball's.
    """

    aimed: bool = True
    most_speed_u: float | None = MOST_SPEED_U
    landing_seen: bool | None = None
    least_evidence: float = LEAST_EVIDENCE


USUAL_EXPECTATIONS = Expectations()
