"""The uncertainties that one stand gives: the calibration, the sightings and the fit on paper."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.site import forecast_camera
from tracker.fitting import (
    Circumstances,
    FittedFlight,
    Instants,
    circumstances_of,
    expected_fit,
)
from tracker.vantage.aiming import aimed
from tracker.vantage.shots import ExpectedShots
from tracker.vantage.stand import Stand
from tracker.vantage.view import FlightView, margins, placed, view_of

LEAST_FRAMES = 5
"""A ball seen in fewer frames is not taken for a shot (common practice, no source)."""

LEAN_SHARE = 0.2
"""By what share of its diameter a ball is placed aside where its light rises from the middle to the
rim by its whole contrast: the median of measured clips, which have 0.09 to 0.54. Luma alone leans
by 0.4 (a drawn disc of 3 px); colour leans less, or the other way."""


@dataclass(frozen=True)
class Judgement:
    """What a stand gives for the expected shots, in numbers.

    Attributes
    ----------
    camera : Camera
        With the covariance that its calibration will have.
    circumstances : Circumstances
    view : FlightView
        The expected flight in every frame.
    fitted : FittedFlight
        The fit to be expected.
    u : mapping
        Standard uncertainty by figure.
    margin_px : float
        Smallest margin of any point of any expected shot.
    """

    camera: Camera
    circumstances: Circumstances
    view: FlightView
    fitted: FittedFlight
    u: Mapping[str, float]
    margin_px: float


def judge(stand: Stand, shots: ExpectedShots) -> Judgement:
    """Return what a stand gives for the expected shots.

    Raises
    ------
    InputError
        Where too little would be in view to fix the camera or a flight.
    """
    points = shots.points_m
    camera, parts = forecast_camera(stand.site, aimed(stand, points))
    flight = shots.flight
    frames = np.arange(0.5 / stand.fps, flight.landing_s, 1.0 / stand.fps)
    view = view_of(stand, camera, flight, frames)
    inside = view.inside
    if np.sum(inside) < LEAST_FRAMES:
        raise InputError(
            f"the ball would be in view in {np.sum(inside)} of {len(frames)} frames",
            where="camera",
            remedy="move it farther off, aim it elsewhere or give it a wider view",
        )
    conditions = replace(stand.conditions, camera_parts=parts)
    circumstances = circumstances_of(camera, conditions, 1.0 / stand.fps)
    lean = LEAN_SHARE * view.diameters_px[inside] / stand.contrast
    instants = Instants(frames[inside], view.row_share[inside], lean)
    fitted = expected_fit(circumstances, flight, instants, placed(stand, view).covariances)
    u = flight.figures.u(fitted.covariance)
    return Judgement(camera, circumstances, view, fitted, u, float(margins(camera, points).min()))
