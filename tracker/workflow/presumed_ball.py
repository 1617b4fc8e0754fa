"""The ball of a clip of which nobody stated one, where what falls is none of the usual size."""

from collections.abc import Sequence
from dataclasses import replace
from math import log, sqrt

from tracker.flight.ball import BALLS, Ball
from tracker.records import Reason, ReasonCode

DIAMETER_SHARE, MASS_SHARE = 0.1, 0.5
"""Standard uncertainties of a ball that is only presumed, as shares of its diameter and mass: of 21
to 24 cm there are balls of 270 to 650 g. Common practice, no source."""


def without_another_ball(causes: Sequence[Reason]) -> tuple[Reason, ...]:
    """Return why no shot was found where it was not another ball than the stated one.

    Parameters
    ----------
    causes : sequence of Reason
    """
    return tuple(each for each in causes if each.code is not ReasonCode.ANOTHER_BALL)


def ball_instead(causes: Sequence[Reason]) -> tuple[Ball, Reason] | None:
    """Return the ball that was thrown in place of the usual one, and what its rows say of it.

    Its size and its fall together give its diameter, to a factor; the ball of the table nearest to
    that is taken, with uncertainties that other balls of its size fit.

    Parameters
    ----------
    causes : sequence of Reason
        Why no shot was found.

    Returns
    -------
    (Ball, Reason) or None
        None where the causes name no other ball, or where the table has none of that size.
    """
    if not causes or causes[0].code is not ReasonCode.ANOTHER_BALL:
        return None
    least, most = (causes[0].numbers[name] for name in ("least_cm", "most_cm"))
    alike = [ball for ball in BALLS if least <= 100.0 * ball.diameter_m <= most]
    if not alike:
        return None
    middle_m = sqrt(least * most) / 100.0
    nearest = min(alike, key=lambda ball: abs(log(ball.diameter_m / middle_m)))
    presumed = replace(
        nearest,
        mass_u_kg=MASS_SHARE * nearest.mass_kg,
        diameter_u_m=DIAMETER_SHARE * nearest.diameter_m,
    )
    numbers = {"least_cm": least, "most_cm": most}
    return presumed, Reason(ReasonCode.BALL_PRESUMED, numbers, nearest.name)
