"""A traced flight as a row of results, with its points, its path and its budget."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting import Figures, figures_of
from tracker.fitting.budget import budget_of
from tracker.fitting.choice import flight_model
from tracker.fitting.light import shift_by_light
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT, RELEASE_AT
from tracker.fitting.untaped import UntapedCircumstances
from tracker.flight.events import apex
from tracker.following import consistency
from tracker.measurement.context import ClipContext
from tracker.measurement.expectations import USUAL_EXPECTATIONS, Expectations
from tracker.measurement.fitted_shot import Basis, FittedShot, TracedFlight
from tracker.measurement.verdict import (
    NEARLY_ALL,
    doubts,
    not_a_ball,
    off_aim,
    parts_of_animal,
    quality_of,
    seen_at_neither_end,
    something_else,
)
from tracker.records import (
    FIGURE_OF_COLUMN,
    Consistency,
    FlightPath,
    Reason,
    Rejection,
    Shot,
    TrackPoint,
)

Array = NDArray[np.float64]

SEEN_DOWN_TO_M = 0.20
"""A ball that was seen to within this height of the ground was seen to land, m: what is left adds
less to the carry than its uncertainty, and grass that hides more of a fall is knee-high."""

SEEN_FRAMES, SEEN_DOWN_AT_MOST_M = 1.8, 0.35
"""So was one that was last seen within this many frames of its landing, when it had no more than
this left to fall, m: at 60 frames a second a ball falls 0.15 m in one."""

PATH_POINTS, PATH_STEP_S, LEAST_PATH_S = 121, 0.02, 0.1
"""Points of a path for pictures, its longest integration step and its least length, s."""


def describe(
    context: ClipContext,
    traced: TracedFlight,
    expectations: Expectations = USUAL_EXPECTATIONS,
    before: tuple[Reason, ...] = (),
) -> FittedShot:
    """Return a traced flight as a row with its points, path and budget.

    Parameters
    ----------
    context : ClipContext
        With the priors that the flight was fitted with.
    traced : TracedFlight
    expectations : Expectations
        What the kind of start lets a verdict expect.
    before : tuple of Reason
        Reasons that are known already; they stand before those found here.

    Raises
    ------
    Rejection
        When it is no ball's.
    """
    known, fitted = context.circumstances, traced.fitted
    stray = not_a_ball(known, traced)
    if stray is not None and np.sum(fitted.used) < NEARLY_ALL * traced.in_view:
        raise Rejection(stray)
    figures = figures_of(known, fitted.parameters)
    agreement = _consistency(context, traced)
    covered = expectations.landing_seen
    if covered is None:
        covered = bool(np.isfinite(figures.value("carry_m"))) and _covered(context, traced, figures)
    fatal = (
        stray
        or parts_of_animal(traced, agreement)
        or something_else(traced, expectations.least_evidence)
    )
    if fatal is None and expectations.aimed:
        fatal = off_aim(figures, figures.u(fitted.covariance))
        fatal = fatal or seen_at_neither_end(traced, covered)
    found = doubts(traced, figures, covered, agreement, expectations) if fatal is None else [fatal]
    reasons = (*before, *found) if fatal is None else (fatal,)
    return FittedShot(
        _shot(context, traced, figures, covered, reasons),
        _points(context, traced),
        _path(context, traced, figures),
        budget_of(known, fitted, figures),
        agreement,
        flight_model(known, fitted),
        None if isinstance(known, UntapedCircumstances) else (known, fitted),
        Basis(context, traced, expectations),
    )


def _shot(
    context: ClipContext,
    traced: TracedFlight,
    figures: Figures,
    covered: bool,
    reasons: tuple[Reason, ...],
) -> Shot:
    u = figures.u(traced.fitted.covariance)
    columns: dict[str, float | None] = {}
    for name in FIGURE_OF_COLUMN:
        value = figures.value(name)
        stem, unit = name.rsplit("_", 1)
        columns[name] = value if np.isfinite(value) else None
        if f"{stem}_u_{unit}" in Shot.__dataclass_fields__:
            columns[f"{stem}_u_{unit}"] = u[name] if np.isfinite(value) else None
    return Shot(
        clip=context.request.clip,
        setup=context.request.setup,
        shot=0,
        release_s=float(traced.fitted.parameters[RELEASE_AT]) * context.facts.pace,
        frames_seen=int(np.sum(traced.fitted.used)),
        landing_seen=covered,
        quality=quality_of(reasons),
        reasons=reasons,
        **columns,
    )


def _row_times(traced: TracedFlight) -> Array:
    """Return the true time of each position: that of its row."""
    times: Array = (
        traced.observed.track.times_s
        + traced.fitted.parameters[READOUT_AT] * traced.observed.row_share
    )
    return times


def _covered(context: ClipContext, traced: TracedFlight, figures: Figures) -> bool:
    """Return whether a ball was seen until it landed, and not lost in long grass before."""
    if traced.bounce is not None and traced.bounce.agrees:
        return True
    fitted = traced.fitted
    last = float(_row_times(traced)[fitted.used].max() - fitted.parameters[RELEASE_AT])
    left_s = figures.value("flight_time_s") - last
    if left_s <= 0.0:
        return True
    known = context.circumstances
    above = float(known.ground.above(fitted.trajectory.at(last))[0]) - known.ball_radius_m
    return above <= SEEN_DOWN_TO_M or (
        left_s <= SEEN_FRAMES * context.frame_s and above <= SEEN_DOWN_AT_MOST_M
    )


def _consistency(context: ClipContext, traced: TracedFlight) -> Consistency | None:
    fitted, times = traced.fitted, _row_times(traced)
    order = np.argsort(times, kind="stable")
    order = order[fitted.used[order]]
    return consistency(
        fitted.trajectory,
        context.camera.perturbed(fitted.parameters[CAMERA_AT:]),
        times[order] - fitted.parameters[RELEASE_AT],
        fitted.residuals_px[order],
        traced.observed.track.covariances[order],
    )


def _points(context: ClipContext, traced: TracedFlight) -> tuple[TrackPoint, ...]:
    track, fitted = traced.observed.track, traced.fitted
    states = fitted.trajectory.at(track.times_s - fitted.parameters[RELEASE_AT])
    # The ball's centre, not its brightest part.
    centres = track.pixels - shift_by_light(context.camera, track, fitted.light)
    return tuple(
        TrackPoint(
            clip=context.request.clip,
            shot=0,
            frame=int(track.frames[i]),
            time_s=float(track.times_s[i]),
            column_px=float(centres[i, 0]),
            row_px=float(centres[i, 1]),
            used=bool(fitted.used[i]),
            residual_column_px=float(fitted.residuals_px[i, 0]),
            residual_row_px=float(fitted.residuals_px[i, 1]),
            along_m=float(states[i, 0]),
            across_m=float(states[i, 1]),
            up_m=float(states[i, 2]),
        )
        for i in range(len(states))
    )


def _path(context: ClipContext, traced: TracedFlight, figures: Figures) -> FlightPath:
    fitted = traced.fitted
    end = figures.value("flight_time_s")
    if not np.isfinite(end):
        end = float(fitted.trajectory.times_s[-1])
    flight = flight_of(
        context.circumstances, fitted.parameters, max(end, LEAST_PATH_S), PATH_STEP_S
    )
    times = np.linspace(0.0, end, PATH_POINTS)
    points = flight.at(times)[:, :3]
    camera = context.camera.perturbed(fitted.parameters[CAMERA_AT:])
    pixels = camera.project(points)
    top = apex(flight)
    top_m = points[np.argmax(points[:, 2])] if top is None else top.state[:3]
    return FlightPath(
        times_s=times + fitted.parameters[RELEASE_AT],
        points_m=points,
        pixels=pixels,
        release_px=pixels[0],
        apex_px=camera.project(top_m)[0],
        landing_px=pixels[-1],
    )
