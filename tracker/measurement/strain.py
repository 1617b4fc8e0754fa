"""Whether a flight fits only far from what was stated, and which statement that strains."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting import Circumstances, FittedFlight, Observations
from tracker.fitting.fit import fit_given_gusts
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

ELSEWHERE_U_M = 3.0
"""Standard uncertainty of a release that may have been stated wrongly, m: two or three metres are
what tapes are laid off by, and what a nudged camera moves the field by. Common practice, no
source."""

ANY_DRAG_U = 0.5
"""Standard uncertainty of the drag, by the stated ball's mass and size, of a ball that may be
another one. Common practice, no source."""

Array = NDArray[np.float64]


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


def release_doubt(
    known: Circumstances, observed: Observations, fitted: FittedFlight
) -> tuple[Reason, ...]:
    """Return that a flight starts elsewhere than stated, or is another ball's; nothing for neither.

    A ball from two metres farther down seems to fall too fast or too slowly when its flight is made
    to begin at the stated place, and so does one of twice the mass with the drag of the stated one.
    With the start, or the drag, left open everything else is then as stated, which no wrong frame
    rate and no wrong unit allows.

    Parameters
    ----------
    known, observed, fitted
        A flight whose gravity seems off, as it was fitted.
    """
    if isinstance(known, UntapedCircumstances):
        return ()
    elsewhere = _explained(replace(known, release_u_m=ELSEWHERE_U_M), observed, fitted)
    heavier = _explained(replace(known, drag_u=ANY_DRAG_U), observed, fitted)
    if heavier is not None and (elsewhere is None or heavier[0] < elsewhere[0]):
        numbers = {"drag": float(heavier[1][DRAG_AT]), "stated": known.drag}
        return (Reason(ReasonCode.STRAINS_BALL, numbers),)
    if elsewhere is None:
        return ()
    moved_u = (elsewhere[1] - known.prior_mean())[POSITION_AT] / known.release_u_m
    # Where along its path it started stays open, and so does whether the height is wrong.
    numbers = {"off_u": float(np.linalg.norm(moved_u))}
    return (Reason(ReasonCode.STRAINS_RELEASE, numbers),)


def _explained(
    known: Circumstances, observed: Observations, fitted: FittedFlight
) -> tuple[float, Array] | None:
    """Return the strain and the parameters, shape (P,), of a fit that strains little, or None."""
    try:
        again = fit_given_gusts(known, replace(observed, landed_s=None), fitted.parameters)
    except NotDetermined:
        return None
    stated = again.with_gusts(known)
    off = again.parameters - stated.prior_mean()
    strain = float(off @ stated.prior_information() @ off)
    return (strain, again.parameters) if again.settled and strain <= MOST_STRAIN else None
