"""Whether a flight fits only far from what was stated, and which statement that strains."""

import numpy as np

from tracker.fitting import Circumstances, FittedFlight
from tracker.fitting.parameters import CAMERA_AT, DRAG_AT, POSITION_AT
from tracker.fitting.untaped import UntapedCircumstances
from tracker.records import Reason, ReasonCode

MOST_STRAIN = 30.0
"""Chi-square of a fit's departures from what is stated above which some of it is wrong. Right shots
of twelve foreign sessions have 1 to 13, those with a wrong ball, a height off by 1.2 m or markers
of another clip 37 to 460."""

PLACES_AGREE = 9.0
"""Chi-square of release and camera together up to which they are as stated: three sigma, squared. A
wrong release bends wind and drag, too, while a wrong ball leaves the places alone."""

UP_SHARE = 0.5
"""Share of the release's own departure from which it is one in height. Common practice, no
source."""


def strain_doubt(known: Circumstances, fitted: FittedFlight) -> tuple[Reason, ...]:
    """Return the reason that names the statement which a flight contradicts most, if any.

    A fit adjusts release, camera, ball and air within their uncertainties. A wrong statement bends
    all of them a little, so that the positions alone still agree.

    Parameters
    ----------
    known : Circumstances
        With which the flight was fitted.
    fitted : FittedFlight
    """
    if isinstance(known, UntapedCircumstances):
        return ()
    stated = fitted.with_gusts(known)
    off = fitted.parameters - stated.prior_mean()
    information = stated.prior_information()
    if float(off @ information @ off) <= MOST_STRAIN:
        return ()
    places = sum(
        float(off[at] @ information[np.ix_(at, at)] @ off[at])
        for at in (
            np.arange(POSITION_AT.start, POSITION_AT.stop),
            np.arange(CAMERA_AT, len(off)),
        )
    )
    if places < PLACES_AGREE:
        numbers = {"drag": float(fitted.parameters[DRAG_AT]), "stated": known.drag}
        return (Reason(ReasonCode.STRAINS_BALL, numbers),)
    moved_u = off[POSITION_AT] / known.release_u_m
    numbers = {"off_u": float(np.linalg.norm(moved_u))}
    upright = float(moved_u[2]) ** 2 > UP_SHARE * float(moved_u @ moved_u)
    code = ReasonCode.STRAINS_HEIGHT if upright else ReasonCode.STRAINS_RELEASE
    return (Reason(code, numbers),)
