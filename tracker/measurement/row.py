"""A fitted flight as a row of results, with the reason for any doubt."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeGuard

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import sigma_of_radii
from tracker.fitting import FIGURES, Circumstances, Figures, FittedFlight, figures_of
from tracker.fitting.budget import budget_of
from tracker.fitting.choice import flight_model
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT
from tracker.fitting.untaped import UntapedCircumstances
from tracker.flight.events import apex
from tracker.following import consistency
from tracker.measurement.bounce import Bounce
from tracker.records import (
    Consistency,
    FlightPath,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    Rejection,
    Shot,
    Track,
    TrackPoint,
)

Array = NDArray[np.float64]

WIDEST_AIM_DEG = 10.0
"""A launcher is aimed down its firing line, and what flies further aside than this is hardly
its ball. Common practice, no source."""

STRAY_OF_DIAMETER = 0.5
STRAY_OF_U = 2.0
"""Places of a ball scatter about its flight by less than half its picture, however poor that
is: a bird's body goes up and down with its wings, and its way is no throw's. Places that are
known to worse may scatter by twice what their own uncertainties foretell."""

NEARLY_ALL = 0.8
"""Share of the frames crossed from which even a bad fit is told to the person as a shot."""
SEEN_DOWN_TO_M = 0.20
"""A ball that was seen to within this height of the ground was seen to land: what is left adds
less to the carry than its uncertainty, and grass that hides more of a fall is knee-high."""

SEEN_FRAMES = 1.8
SEEN_DOWN_AT_MOST_M = 0.35
"""So was one that was last seen within so many frames of its landing, when it had no more than
this to fall: at 60 frames a second a ball falls 0.15 m in one."""

FAR_OUT = 8.0
"""Innovations squared that are so many times what they may be say that something else than the
picture's noise is at work. The fit widens its uncertainties by the scatter, so that less is
no cause for doubt."""

TORN = 4.0
"""Positions that scatter by this factor more than their pictures say are doubted."""

HARDLY_SNR = 10.0
"""A ball whose place is that much in doubt stands out by more than this where it is seen."""


@dataclass(frozen=True)
class Sought:
    """Where a shot was looked for.

    Attributes
    ----------
    clip, setup : str
    pace : float
        Playing seconds per true second.
    frame_s : float
        True time from one frame to the next.
    in_view : int
        Frames in which the fitted flight lies inside the picture.
    row_share : ndarray, shape (N,), or None
        How far down the readout each position lies, -0.5 to 0.5; None counts as its middle.
    bounce : Bounce or None
        The first bounce, when the hop after it was seen.
    doubts : tuple of Reason
        What else speaks against the shot.
    aimed : bool
        Whether it was fired down the firing line, if it is a shot.
    """

    clip: str
    setup: str
    pace: float
    frame_s: float
    in_view: int
    row_share: Array | None = None
    bounce: Bounce | None = None
    doubts: tuple[Reason, ...] = ()
    aimed: bool = True


def describe(
    circumstances: Circumstances, sought: Sought, track: Track, fitted: FittedFlight
) -> MeasuredShot:
    """Turn a fitted flight into its row, its points and its path.

    Raises
    ------
    Rejection
        When it was no ball's.
    """
    wild = strays(circumstances, track, fitted)
    if wild is not None and np.sum(fitted.used) < NEARLY_ALL * sought.in_view:
        raise Rejection(wild)
    figures = figures_of(circumstances, fitted.parameters)
    u = figures.u(fitted.covariance)
    lands = bool(np.isfinite(figures.value("carry_m")))
    release = float(fitted.parameters[0])
    seen = lands and _seen_down(circumstances, sought, track, fitted, figures)
    agreement = _consistency(circumstances, sought, track, fitted)
    reasons = _judge(figures, u, sought, fitted, seen, agreement)
    if wild is not None or _is_a_crowd(track, fitted, agreement):
        reasons = [wild or Reason(ReasonCode.PARTS_OF_ANIMAL)]
    elif sought.aimed:
        # A steep shot's azimuth says little: what counts is how far it leaves the upright plane.
        level = abs(np.cos(np.radians(figures.value("launch_angle_deg"))))
        aside, aside_u = level * abs(figures.value("azimuth_deg")), level * u["azimuth_deg"]
        if aside > np.hypot(WIDEST_AIM_DEG, 2.5 * aside_u):
            reasons = [Reason(ReasonCode.OFF_AIM, {"aside_deg": float(aside)})]

    def known(name: str) -> float | None:
        value = figures.value(name)
        return value if np.isfinite(value) else None

    def unsure(name: str) -> float | None:
        return u[name] if np.isfinite(figures.value(name)) else None

    shot = Shot(
        clip=sought.clip,
        setup=sought.setup,
        shot=0,
        release_s=release * sought.pace,
        exit_speed_mps=known("exit_speed_mps"),
        exit_speed_u_mps=unsure("exit_speed_mps"),
        launch_angle_deg=known("launch_angle_deg"),
        launch_angle_u_deg=unsure("launch_angle_deg"),
        azimuth_deg=known("azimuth_deg"),
        azimuth_u_deg=unsure("azimuth_deg"),
        carry_m=known("carry_m"),
        carry_u_m=unsure("carry_m"),
        landing_along_m=known("landing_along_m"),
        landing_along_u_m=unsure("landing_along_m"),
        landing_across_m=known("landing_across_m"),
        landing_across_u_m=unsure("landing_across_m"),
        apex_m=known("apex_m"),
        apex_u_m=unsure("apex_m"),
        flight_time_s=known("flight_time_s"),
        flight_time_u_s=unsure("flight_time_s"),
        landing_speed_mps=known("landing_speed_mps"),
        landing_angle_deg=known("landing_angle_deg"),
        frames_seen=int(np.sum(fitted.used)),
        landing_seen=seen,
        quality=quality_of(reasons),
        reasons=tuple(reasons),
    )
    return MeasuredShot(
        shot,
        _points(circumstances, sought, track, fitted),
        _path(circumstances, fitted, figures),
        budget_of(circumstances, fitted, figures),
        agreement,
        flight_model(circumstances, fitted),
        # Where nothing was taped, every shot has a camera of its own.
        None if isinstance(circumstances, UntapedCircumstances) else (circumstances, fitted),
    )


def _is_far_out(agreement: Consistency | None) -> TypeGuard[Consistency]:
    return agreement is not None and agreement.mean > FAR_OUT * agreement.high


def _is_a_crowd(track: Track, fitted: FittedFlight, agreement: Consistency | None) -> bool:
    """Tell whether a flight was pieced together from parts of something that moves.

    A ball before leaves is placed badly, and a faint ball hardly stands out; what is placed badly
    all the way, by far more than its pictures say, and yet hardly stands out of its surroundings,
    is now one edge and now another of a person or an animal.
    """
    if track.snr is None or not (fitted.scale > TORN and _is_far_out(agreement)):
        return False
    return float(np.median(track.snr[fitted.used])) < HARDLY_SNR


def _moments(sought: Sought, track: Track, fitted: FittedFlight) -> Array:
    """Return the true time of each position: that of the row it lies in."""
    if sought.row_share is None:
        return track.times_s
    moments: Array = track.times_s + fitted.parameters[READOUT_AT] * sought.row_share
    return moments


def _seen_down(
    circumstances: Circumstances,
    sought: Sought,
    track: Track,
    fitted: FittedFlight,
    figures: Figures,
) -> bool:
    """Tell whether a ball was seen until it landed, and not lost in long grass before."""
    if sought.bounce is not None and sought.bounce.agrees:
        return True
    moments = _moments(sought, track, fitted)
    last = float(moments[fitted.used].max() - fitted.parameters[0])
    left_s = figures.value("flight_time_s") - last
    if left_s <= 0.0:
        return True
    above = float(fitted.trajectory.at(last)[0, 2]) - circumstances.ball_radius_m
    return above <= SEEN_DOWN_TO_M or (
        left_s <= SEEN_FRAMES * sought.frame_s and above <= SEEN_DOWN_AT_MOST_M
    )


def _consistency(
    circumstances: Circumstances, sought: Sought, track: Track, fitted: FittedFlight
) -> Consistency | None:
    moments = _moments(sought, track, fitted)
    order = np.argsort(moments, kind="stable")
    order = order[fitted.used[order]]
    return consistency(
        fitted.trajectory,
        circumstances.camera.perturbed(fitted.parameters[CAMERA_AT:]),
        moments[order] - fitted.parameters[0],
        fitted.residuals_px[order],
        track.covariances[order],
    )


def strays(circumstances: Circumstances, track: Track, fitted: FittedFlight) -> Reason | None:
    """Return that the positions scatter more than a ball's would, None when they do not.

    The standard deviation is taken from the median distance.
    """
    used = fitted.used
    camera = circumstances.camera
    states = fitted.trajectory.at(track.times_s[used] - fitted.parameters[0])
    depth = camera.in_camera(states[:, :3])[:, 2]
    across = float(np.median(2.0 * circumstances.ball_radius_m * camera.focal_px / depth))
    known = float(np.median(np.trace(track.covariances[used], axis1=1, axis2=2)) / 2.0)
    limit = np.hypot(STRAY_OF_DIAMETER * across, STRAY_OF_U * np.sqrt(known))
    scatter = sigma_of_radii(np.linalg.norm(fitted.residuals_px[used], axis=1))
    if scatter <= limit:
        return None
    return Reason(ReasonCode.NOT_A_BALL, {"scatter_px": scatter, "diameter_px": across})


def _judge(
    figures: Figures,
    u: dict[str, float],
    sought: Sought,
    fitted: FittedFlight,
    seen: bool,
    agreement: Consistency | None,
) -> list[Reason]:
    doubts = list(sought.doubts)
    if not np.isfinite(figures.value("carry_m")):
        doubts.append(Reason(ReasonCode.NEVER_LANDS))
    elif not seen:
        doubts.append(Reason(ReasonCode.LANDING_NOT_SEEN))
    count = int(np.sum(fitted.used))
    if count < 10:
        doubts.append(Reason(ReasonCode.FEW_FRAMES, {"frames": count}))
    elif count < 0.4 * sought.in_view:
        numbers = {"frames": count, "crossed": sought.in_view}
        doubts.append(Reason(ReasonCode.LOW_SHARE, numbers))
    if u["exit_speed_mps"] > 0.03 * figures.value("exit_speed_mps"):
        doubts.append(Reason(ReasonCode.SPEED_UNCERTAIN, {"limit_percent": 3.0}))
    if fitted.scale > TORN:
        doubts.append(Reason(ReasonCode.SCATTER, {"times": fitted.scale}))
    if _is_far_out(agreement):
        innovations = {"mean": agreement.mean, "low": agreement.low, "high": agreement.high}
        doubts.append(Reason(ReasonCode.INNOVATIONS, innovations))
    if not fitted.settled:
        doubts.append(Reason(ReasonCode.FIT_NOT_SETTLED))
    return doubts


def quality_of(reasons: Sequence[Reason]) -> Quality:
    """Return the quality of a row that has these reasons."""
    if any(reason.entry.rejects for reason in reasons):
        return Quality.REJECTED
    return Quality.CHECK if reasons else Quality.GOOD


def _points(
    circumstances: Circumstances, sought: Sought, track: Track, fitted: FittedFlight
) -> tuple[TrackPoint, ...]:
    times = track.times_s - fitted.parameters[0]
    states = fitted.trajectory.at(times)
    # The ball's middle, not its brightest part.
    middles = track.pixels - track.lean[:, None] * fitted.light
    return tuple(
        TrackPoint(
            clip=sought.clip,
            shot=0,
            frame=int(track.frames[i]),
            time_s=float(track.times_s[i]),
            column_px=float(middles[i, 0]),
            row_px=float(middles[i, 1]),
            used=bool(fitted.used[i]),
            residual_column_px=float(fitted.residuals_px[i, 0]),
            residual_row_px=float(fitted.residuals_px[i, 1]),
            along_m=float(states[i, 0]),
            across_m=float(states[i, 1]),
            up_m=float(states[i, 2]),
        )
        for i in range(len(times))
    )


def _path(circumstances: Circumstances, fitted: FittedFlight, figures: Figures) -> FlightPath:
    end = figures.value("flight_time_s")
    if not np.isfinite(end):
        end = float(fitted.trajectory.times_s[-1])
    flight = flight_of(circumstances, fitted.parameters, max(end, 0.1), 0.02)
    times = np.linspace(0.0, end, 121)
    points = flight.at(times)[:, :3]
    camera = circumstances.camera.perturbed(fitted.parameters[CAMERA_AT:])
    pixels = camera.project(points)
    top = apex(flight)
    top_m = points[np.argmax(points[:, 2])] if top is None else top.state[:3]
    return FlightPath(
        times_s=times + fitted.parameters[0],
        points_m=points,
        pixels=pixels,
        release_px=pixels[0],
        apex_px=camera.project(top_m)[0],
        landing_px=pixels[-1],
    )


__all__ = ["FIGURES", "Sought", "describe"]
