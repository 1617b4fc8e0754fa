"""Why a shot whose only scale is gravity is to be checked."""

import numpy as np
from numpy.typing import NDArray

from calibration.site import Site
from tracker.fitting import figures_of
from tracker.fitting.parameters import CAMERA_ACROSS_AT, CAMERA_AT, POSITION_AT
from tracker.fitting.untaped import UntapedFit
from tracker.records import Reason, ReasonCode, Track

Array = NDArray[np.float64]

DISTANCES_M = (20.0, 15.0, 10.0, 8.0, 5.0, 4.0, 3.0, 2.0)
"""Distances down the firing line that are tried for one more marker, m."""

TAPED_U_M, PICKED_U_PX = 0.05, 1.0
"""Standard uncertainties of a taped distance, m, and of a picked pixel, px. Common practice, no
source."""

WORTH_SHARE = 0.95
"""A marker is worth it when it brings the exit speed's standard uncertainty below this share."""

FAINT_POSITIONS, FAINT_SHARE = 3, 0.4
"""First positions of a path whose median contrast counts, and the share of the whole path's below
which the beginning is faint. Common practice, no source."""

EDGE_SHARE = 0.012
"""A path that begins nearer to the frame's edge than this share of its width, and one step, may
begin outside it."""


def gain(fit: UntapedFit) -> tuple[float, float, float] | None:
    """Return what one taped distance would gain for the exit speed.

    The marker is added to the fit as if it had been taped and picked (the covariance does not
    depend on what it would read), and the exit speed's uncertainty is propagated again.

    Returns
    -------
    tuple of float, or None
        Distance of the marker from the release's foot (m), and the exit speed's standard
        uncertainty without and with it (m/s). None where the frame shows no such place.
    """
    fitted, known = fit.fitted, fit.circumstances
    camera = known.camera.perturbed(fitted.parameters[CAMERA_AT:])
    slope = figures_of(known, fitted.parameters).jacobian[0]
    before = float(np.sqrt(slope @ fitted.covariance @ slope))
    along, across = fitted.parameters[POSITION_AT][:2]
    for distance in DISTANCES_M:
        mark = np.array([along + distance, across, 0.0])
        pixel, by_point, by_camera = camera.project_with_jacobians(mark)
        if not camera.in_frame(pixel)[0]:
            continue
        rows = np.zeros((2, len(fitted.covariance)))
        rows[:, CAMERA_AT:] = by_camera[0]
        spread = PICKED_U_PX**2 * np.eye(2) + TAPED_U_M**2 * by_point[0] @ by_point[0].T
        reach = rows @ fitted.covariance @ slope
        won = reach @ np.linalg.solve(rows @ fitted.covariance @ rows.T + spread, reach)
        return distance, before, float(np.sqrt(max(before**2 - float(won), 0.0)))
    return None


def scale_reasons(fit: UntapedFit, site: Site) -> list[Reason]:
    """Return that gravity is the scale, from how far, and what one taped distance would gain."""
    fitted, known = fit.fitted, fit.circumstances
    camera = known.camera.perturbed(fitted.parameters[CAMERA_AT:])
    numbers = {
        "away": abs(float(camera.position[1])),
        "away_u": float(np.sqrt(fitted.covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT])),
    }
    code = ReasonCode.GRAVITY_IS_SCALE_FEW_MARKERS if site.picked else ReasonCode.GRAVITY_IS_SCALE
    reasons = [Reason(code, numbers)]
    # Where markers were taped, another on the ground is not what lacks.
    if known.markers_doubted:
        reasons.append(Reason(ReasonCode.MARKERS_AGAINST_FALL))
    better = None if site.picked else gain(fit)
    if better is not None and better[2] < WORTH_SHARE * better[1]:
        names = ("distance_m", "before_mps", "after_mps")
        numbers = {"taped_u_cm": 100.0 * TAPED_U_M, **dict(zip(names, better, strict=True))}
        reasons.append(Reason(ReasonCode.TAPE_ONE_DISTANCE, numbers))
    return reasons


def begins_faint(track: Track) -> bool:
    """Return whether a ball hardly stands out where its path begins."""
    if track.snr is None or len(track.snr) < FAINT_POSITIONS:
        return False
    first = float(np.median(track.snr[:FAINT_POSITIONS]))
    return first < FAINT_SHARE * float(np.median(track.snr))


def end_reasons(track: Track, size_px: tuple[int, int]) -> list[Reason]:
    """Return what is doubtful about the beginning of the path."""
    found = [Reason(ReasonCode.BEGINS_FAINT)] if begins_faint(track) else []
    width, height = size_px
    edge = EDGE_SHARE * width
    step = np.abs(np.diff(track.pixels[:3], axis=0)).max(initial=0.0)
    column, row = track.pixels[0]
    if min(column, row, width - 1 - column, height - 1 - row) < edge + step:
        found.append(Reason(ReasonCode.BEGINS_AT_EDGE))
    return found
