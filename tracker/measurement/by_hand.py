"""A measured shot fitted again with its release or landing as a person states them."""

from dataclasses import replace

import numpy as np

from tracker.fitting import Observations, fit_given_gusts, refit_gusts
from tracker.fitting.end_rows import disagreement
from tracker.fitting.ends import GivenEnds, GivenPlace, GivenTime
from tracker.measurement.fitted_shot import Basis, FittedShot, numbered
from tracker.measurement.row import describe
from tracker.measurement.verdict import quality_of
from tracker.records import Reason, ReasonCode, Track

MOST_OFF_U = 3.5
"""Distance between film and hand, in standard uncertainties of both, from which a row is doubted.
Common practice, no source: a fair coordinate exceeds it once in 2,000 times."""

JUDGED = frozenset(
    {
        ReasonCode.LANDING_NOT_SEEN,
        ReasonCode.NEVER_LANDS,
        ReasonCode.FEW_FRAMES,
        ReasonCode.LOW_SHARE,
        ReasonCode.SPEED_UNCERTAIN,
        ReasonCode.SCATTER,
        ReasonCode.INNOVATIONS,
        ReasonCode.FIT_NOT_SETTLED,
        ReasonCode.NOT_A_BALL,
        ReasonCode.PARTS_OF_ANIMAL,
        ReasonCode.SOMETHING_ELSE,
        ReasonCode.OFF_AIM,
        ReasonCode.LANDING_BY_HAND,
        ReasonCode.RELEASE_BY_HAND,
        ReasonCode.HAND_DISAGREES,
    }
)
"""Reasons that a new fit judges anew; all others stay."""


def with_ends(measured: FittedShot, given: GivenEnds, landed: GivenTime | None) -> FittedShot:
    """Return a shot fitted again with what a person states of its ends.

    What is stated enters the fit as an observation with its standard uncertainty. A stated landing
    replaces the one that the film showed, and positions after its time are left out.

    Parameters
    ----------
    measured : FittedShot
    given : GivenEnds
    landed : GivenTime or None
        True time of the first bounce.

    Raises
    ------
    Rejection, NotDetermined
        Where no flight fits.
    """
    basis = measured.basis
    if basis is None:
        raise ValueError("a row without figures has nothing to fit")
    landing = landed is not None or given.landing_m is not None or given.landing_px is not None
    observed = _observed(basis.traced.observed, given, landed, landing)
    known, before = basis.context.circumstances, basis.traced.fitted
    fitted = fit_given_gusts(known, observed, before.parameters, near=True)
    fitted = refit_gusts(known, observed, fitted)
    bounce = None if landing else basis.traced.bounce
    traced = replace(basis.traced, observed=observed, fitted=fitted, bounce=bounce)
    expected = replace(basis.expectations, landing_seen=True) if landing else basis.expectations
    again = describe(basis.context, traced, expected)
    off_u = _off_u(basis, given, landed)
    reasons = _reasons(measured, again, off_u)
    started = given.release_px is not None or given.release_s is not None
    stated = [Reason(ReasonCode.LANDING_BY_HAND)] if landing else []
    stated += [Reason(ReasonCode.RELEASE_BY_HAND)] if started else []
    shot = replace(
        again.shot,
        clip=measured.shot.clip,
        setup=measured.shot.setup,
        # The measured release may be on a corrected clock; its change is the same on either.
        release_s=measured.shot.release_s + again.shot.release_s - _release_s(basis),
        quality=quality_of(reasons),
        reasons=(*stated, *reasons),
    )
    again = numbered(replace(again, shot=shot), measured.shot.shot)
    return replace(again, basis=basis)


def steadied(place: GivenPlace | None, at_s: float, track: Track) -> GivenPlace | None:
    """Return a place of the film where the camera would have shown it, had it not moved.

    Parameters
    ----------
    place : GivenPlace or None
        Picked on a frame as it was filmed.
    at_s : float
        True time of that frame.
    track : Track
        The ball's places, which know how far the picture had moved around them.

    Notes
    -----
    By the motion at the track's frame that is nearest in time. What the camera may have moved from
    there on, by its usual motion from frame to frame, widens the uncertainty.
    """
    if place is None or track.filmed_pixels is None:
        return place
    shifts = track.pixels - track.filmed_pixels
    nearest = int(np.argmin(np.abs(track.times_s - at_s)))
    steps = np.linalg.norm(np.diff(shifts, axis=0), axis=1) / np.diff(track.times_s)
    rate = float(np.sqrt(np.mean(steps**2))) if steps.size else 0.0
    column, row = np.asarray(place.at) + shifts[nearest]
    u = float(np.hypot(place.u, rate * abs(float(track.times_s[nearest]) - at_s)))
    return GivenPlace((float(column), float(row)), u)


def _observed(
    observed: Observations, given: GivenEnds, landed: GivenTime | None, landing: bool
) -> Observations:
    """Return what is observed with what is stated in place of what the film showed of it."""
    if landed is not None:
        observed = observed.part(observed.track.times_s <= landed.at_s)
    bounce = observed.landed_s
    if landing:
        bounce = None if landed is None else (landed.at_s, landed.u_s)
    return replace(observed, landed_s=bounce, given=given)


def _off_u(basis: Basis, given: GivenEnds, landed: GivenTime | None) -> float:
    """Return how far the statements lie from the fit without them, in standard uncertainties."""
    known, fitted = basis.context.circumstances, basis.traced.fitted
    off = disagreement(known, fitted.parameters, fitted.covariance, given)
    if landed is not None:
        times = [point for point in (basis.traced.observed.landed_s,) if point is not None]
        for at_s, u_s in times:
            off = max(off, abs(landed.at_s - at_s) / float(np.hypot(u_s, landed.u_s)))
    return off if np.isfinite(off) else 0.0


def _reasons(measured: FittedShot, again: FittedShot, off_u: float) -> tuple[Reason, ...]:
    """Return what is doubtful now: what no fit judges, and what the new one does."""
    kept = [reason for reason in measured.shot.reasons if reason.code not in JUDGED]
    if off_u <= MOST_OFF_U:
        return (*kept, *again.shot.reasons)
    # Positions that scatter about a flight bent to a wrong statement are no animal's.
    found = [reason for reason in again.shot.reasons if not reason.entry.rejects]
    return (*kept, Reason(ReasonCode.HAND_DISAGREES, {"off_u": off_u}), *found)


def _release_s(basis: Basis) -> float:
    """Return the release of the earlier fit on the clock of the new row."""
    return float(basis.traced.fitted.parameters[0]) * basis.context.facts.pace
