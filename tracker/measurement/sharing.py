"""What the shots of a clip share and one learns from the others: the readout of the shutter."""

from collections.abc import Sequence
from dataclasses import replace

from calibration.adjustment import NotDetermined
from tracker.fitting import Circumstances, FittedFlight, refit_gusts
from tracker.fitting.pooling import readout_of
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.row import describe
from tracker.records import Quality, ReasonCode, Rejection

OPEN_READOUT_U_S = 2e-3
"""Standard uncertainty of a readout above which shots learn it from each other, s: a stated one is
known better. Common practice, no source."""

WORTH_SHARE = 0.5
"""A readout that the flights show to this share of its prior's uncertainty is worth a note."""


def with_shared_readout(shots: Sequence[FittedShot]) -> tuple[list[FittedShot], list[str]]:
    """Return the shots of a clip, each with the readout that the others show, and notes.

    A readout that nobody stated moves all exit speeds of a clip alike. Every flight shows it a
    little, since rising and falling balls are read early and late. What the other flights of the
    clip show of it is one more prior of each flight's fit.

    Parameters
    ----------
    shots : sequence of FittedShot
        Of one clip and one camera.
    """
    open_ones = [
        each
        for each in shots
        if each.fit is not None
        and each.basis is not None
        and each.shot.quality is not Quality.REJECTED
        and each.fit[0].readout_u_s > OPEN_READOUT_U_S
    ]
    if len(open_ones) < 2:
        return list(shots), []
    fits = [each.fit for each in open_ones if each.fit is not None]
    learned = {}
    for number, each in enumerate(open_ones):
        others = readout_of([*fits[:number], *fits[number + 1 :]])
        learned[id(each)] = _refitted(each, others)
    value, u = _together(fits[0][0], readout_of(fits))
    shown = [learned.get(id(each), each) for each in shots]
    if not u < min(WORTH_SHARE * fits[0][0].readout_u_s, value):
        return shown, []
    note = (
        f"The {len(open_ones)} flights show together a readout of {1e3 * value:.1f} ms ± "
        f"{1e3 * u:.1f} ms from the first row to the last: write readout_s under [camera] once it "
        "is measured, and the exit speeds become surer."
    )
    return shown, [note]


def _together(known: Circumstances, other: tuple[float, float]) -> tuple[float, float]:
    """Return a readout's prior combined with one more estimate, both with their u."""
    weights = 1.0 / known.readout_u_s**2, 1.0 / other[1] ** 2
    whole = sum(weights)
    return (weights[0] * known.readout_s + weights[1] * other[0]) / whole, whole**-0.5


def _refitted(measured: FittedShot, others: tuple[float, float]) -> FittedShot:
    """Return a shot fitted with what the others show of the readout, as it was where that fails."""
    basis, fit = measured.basis, measured.fit
    assert basis is not None and fit is not None
    value, u = _together(fit[0], others)
    known = replace(fit[0], readout_s=value, readout_u_s=u)
    context = basis.context.with_circumstances(known)
    try:
        fitted: FittedFlight = refit_gusts(known, basis.traced.observed, basis.traced.fitted)
        traced = replace(basis.traced, fitted=fitted)
        again = describe(context, traced, basis.expectations)
    except (NotDetermined, Rejection, ArithmeticError, ValueError):
        return measured
    if again.shot.quality is Quality.REJECTED:
        return measured
    still = {reason.code for reason in again.shot.reasons}
    reasons = tuple(
        reason
        for reason in measured.shot.reasons
        if reason.code is not ReasonCode.SPEED_UNCERTAIN or reason.code in still
    )
    later_s = again.shot.release_s - fit[1].parameters[0] * context.facts.pace
    shot = replace(
        again.shot,
        shot=measured.shot.shot,
        release_s=measured.shot.release_s + later_s,
        reasons=reasons,
        quality=Quality.CHECK if reasons else Quality.GOOD,
    )
    # Pooling over a session counts each flight's own information once.
    return replace(again, shot=shot, fit=fit)
