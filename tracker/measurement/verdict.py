"""What speaks against a fitted flight: whether it is a ball's, and what of it is doubtful."""

from collections.abc import Sequence
from typing import TypeGuard

import numpy as np

from calibration.adjustment.robust import sigma_of_radii
from tracker.fitting import Circumstances, Figures
from tracker.fitting.parameters import POSITION_AT, RELEASE_AT
from tracker.measurement.expectations import LEAST_EVIDENCE, Expectations
from tracker.measurement.fitted_shot import TracedFlight
from tracker.records import Consistency, Quality, Reason, ReasonCode

WIDEST_AIM_DEG, AIM_U = 10.0, 2.5
"""Largest angle out of the upright plane of the firing line at which a launcher is aimed, degrees,
and the standard uncertainties of it that are granted. Common practice, no source."""

STRAY_OF_DIAMETER, STRAY_OF_U = 0.5, 2.0
"""A ball's positions scatter about its flight by less than this share of its diameter in the frame
and this many times their own uncertainty: a bird's body goes up and down with its wings. From
drawn birds."""

NEARLY_ALL = 0.8
"""Share of the frames crossed from which a scattering flight still makes a rejected row."""

FAR_OUT = 8.0
"""Ratio of the mean normalised innovation squared to its upper limit above which something else
than image noise is at work. The fit widens its uncertainties by the scatter, so less is no cause
for doubt."""

TORN = 4.0
"""Ratio of the positions' scatter to their own uncertainty above which they are doubted."""

HARDLY_SNR = 10.0
"""Signal-to-noise ratio that a ball exceeds where it is seen, even when its positions are torn.
From drawn people and birds."""

LEAST_ABSENCE = 20.0
"""Log-likelihood ratio of a ball's not being there at first from which that is believed: eight
frames in plain view. Common practice, no source."""

HIDDEN_M = 3.0
"""Way of a flight that a launcher, or whoever stands beside it, may hide, m. Common practice, no
source; the farthest of foreign clips was 2.2 m."""

LEAST_FRAMES, LEAST_SHARE = 10, 0.4
"""Frames, and share of the frames in which a ball would have been found, below which a row is
doubted. Common practice, no source."""


def quality_of(reasons: Sequence[Reason]) -> Quality:
    """Return the quality of a row that has these reasons."""
    if any(reason.entry.rejects for reason in reasons):
        return Quality.REJECTED
    return Quality.CHECK if reasons else Quality.GOOD


def not_a_ball(known: Circumstances, traced: TracedFlight) -> Reason | None:
    """Return that the positions scatter more than a ball's would, None when they do not."""
    track, fitted = traced.observed.track, traced.fitted
    used = fitted.used
    states = fitted.trajectory.at(track.times_s[used] - fitted.parameters[0])
    depth = known.camera.in_camera(states[:, :3])[:, 2]
    diameter = float(np.median(2.0 * known.ball_radius_m * known.camera.focal_px / depth))
    variance = float(np.median(np.trace(track.covariances[used], axis1=1, axis2=2)) / 2.0)
    limit = np.hypot(STRAY_OF_DIAMETER * diameter, STRAY_OF_U * np.sqrt(variance))
    scatter = sigma_of_radii(np.linalg.norm(fitted.residuals_px[used], axis=1))
    if scatter <= limit:
        return None
    return Reason(ReasonCode.NOT_A_BALL, {"scatter_px": scatter, "diameter_px": diameter})


def parts_of_animal(traced: TracedFlight, agreement: Consistency | None) -> Reason | None:
    """Return that a flight was pieced together from parts of something that moves, or None.

    A ball before leaves is measured badly, and a faint ball hardly stands out. What is measured
    badly all the way, far worse than image noise explains, and yet hardly stands out from its
    surroundings, is now one edge and now another of a person or an animal.
    """
    track, fitted = traced.observed.track, traced.fitted
    if track.snr is None or not (fitted.scale > TORN and _is_far_out(agreement)):
        return None
    if float(np.median(track.snr[fitted.used])) >= HARDLY_SNR:
        return None
    return Reason(ReasonCode.PARTS_OF_ANIMAL)


def something_else(traced: TracedFlight, least: float = LEAST_EVIDENCE) -> Reason | None:
    """Return that something else explains a flight better than a ball does, or None."""
    visibility = traced.visibility
    if visibility is None or visibility.evidence >= least:
        return None
    numbers = {
        "evidence": visibility.evidence,
        "frames": visibility.seen,
        "crossed": visibility.crossed,
        "expected": visibility.expected,
    }
    return Reason(ReasonCode.SOMETHING_ELSE, numbers)


def off_aim(figures: Figures, u: dict[str, float]) -> Reason | None:
    """Return that a shot left the firing line by more than a launcher is aimed, or None.

    The azimuth of a steep shot is uncertain: what counts is the angle out of the upright plane.
    """
    level = abs(np.cos(np.radians(figures.value("launch_angle_deg"))))
    aside, aside_u = level * abs(figures.value("azimuth_deg")), level * u["azimuth_deg"]
    if aside <= np.hypot(WIDEST_AIM_DEG, AIM_U * aside_u):
        return None
    return Reason(ReasonCode.OFF_AIM, {"aside_deg": float(aside)})


def seen_at_neither_end(traced: TracedFlight, covered: bool) -> Reason | None:
    """Return that neither the start nor the landing of a flight was seen, or None.

    A launcher, or whoever stands beside it, hides the first metres. A ball that was not there
    farther down, in plain view, nor where it should have landed, flew another way: that of a
    second launcher, or of a ball thrown beside the line.
    """
    visibility, track, fitted = traced.visibility, traced.observed.track, traced.fitted
    if covered or visibility is None or visibility.absence < LEAST_ABSENCE:
        return None
    at = track.times_s[track.frames == visibility.unseen_before]
    if not len(at):
        return None
    away = fitted.trajectory.at(at - fitted.parameters[RELEASE_AT])[0, :3]
    away_m = float(np.linalg.norm(away - fitted.parameters[POSITION_AT]))
    if away_m < HIDDEN_M:
        return None
    return Reason(ReasonCode.NEITHER_END, {"away_m": away_m})


def doubts(
    traced: TracedFlight,
    figures: Figures,
    covered: bool,
    agreement: Consistency | None,
    expectations: Expectations,
) -> list[Reason]:
    """Return what is doubtful about a flight that is a ball's.

    Parameters
    ----------
    traced : TracedFlight
    figures : Figures
    covered : bool
        Whether the ball was seen until it landed.
    agreement : Consistency or None
    expectations : Expectations
    """
    fitted = traced.fitted
    found: list[Reason] = []
    if not np.isfinite(figures.value("carry_m")):
        found.append(Reason(ReasonCode.NEVER_LANDS))
    elif not covered:
        found.append(_stopped(traced) or Reason(ReasonCode.LANDING_NOT_SEEN))
    count = int(np.sum(fitted.used))
    if count < LEAST_FRAMES:
        found.append(Reason(ReasonCode.FEW_FRAMES, {"frames": count}))
    elif count < LEAST_SHARE * _findable(traced):
        found.append(Reason(ReasonCode.LOW_SHARE, {"frames": count, "crossed": traced.in_view}))
    limit = expectations.most_speed_u
    speed_u = figures.u(fitted.covariance)["exit_speed_mps"]
    if limit is not None and speed_u > limit * figures.value("exit_speed_mps"):
        found.append(Reason(ReasonCode.SPEED_UNCERTAIN, {"limit_percent": 100.0 * limit}))
    if fitted.scale > TORN:
        found.append(Reason(ReasonCode.SCATTER, {"times": fitted.scale}))
    if _is_far_out(agreement):
        numbers = {"mean": agreement.mean, "low": agreement.low, "high": agreement.high}
        found.append(Reason(ReasonCode.INNOVATIONS, numbers))
    if not fitted.settled:
        found.append(Reason(ReasonCode.FIT_NOT_SETTLED))
    return found


def _stopped(traced: TracedFlight) -> Reason | None:
    """Return that something stopped or hid the ball on its way, or None."""
    if not traced.stopped:
        return None
    fitted, times = traced.fitted, traced.observed.track.times_s
    last = float(times[fitted.used].max()) - fitted.parameters[RELEASE_AT]
    along, _, up = fitted.trajectory.at(np.array([last]))[0, :3].tolist()
    return Reason(ReasonCode.STOPPED, {"along": along, "up": up})


def _findable(traced: TracedFlight) -> float:
    """Return in how many frames a ball on this flight would be found."""
    return traced.in_view if traced.visibility is None else traced.visibility.expected


def _is_far_out(agreement: Consistency | None) -> TypeGuard[Consistency]:
    return agreement is not None and agreement.mean > FAR_OUT * agreement.high
