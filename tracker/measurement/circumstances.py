"""What is known about a clip's shots before a frame of it is looked at."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.fitting import Circumstances
from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.forces import forces_on
from tracker.flight.gusts import GUST_INTENSITY
from tracker.following import Stage

Array = NDArray[np.float64]

USUAL_READOUT_S = 0.006
USUAL_READOUT_U_S = 0.006
"""A camera whose readout nobody stated: most phones and cameras lie between 0 and 0.02 s at the
resolutions used here. Common practice, no source."""

STATED_READOUT_SHARE = 0.1
"""Standard uncertainty of a stated readout, as a share of it."""


@dataclass(frozen=True)
class ClipRequest:
    """What is known about a clip besides its pixels and its camera.

    Attributes
    ----------
    clip, setup : str
        As the session names them.
    ball : Ball
    air : Air
    gravity_mps2, gravity_u_mps2 : float
    release_m : ndarray, shape (3,)
    release_u_m : float
    readout_s : float or None
        Rolling shutter, first to last row; None when nobody stated it.
    camera_parts : mapping of str to ndarray, shape (14, 14)
        The covariance of the clip's camera by what it comes from, where that is known.
    """

    clip: str
    setup: str
    ball: Ball
    air: Air
    gravity_mps2: float
    gravity_u_mps2: float
    release_m: Array
    release_u_m: float
    readout_s: float | None
    camera_parts: Mapping[str, Array] = field(default_factory=dict)


def circumstances_of(camera: Camera, request: ClipRequest) -> Circumstances:
    """Gather what is known about every shot of a clip."""
    ball, air = request.ball, request.air
    # Air density, mass and area act on the flight exactly as the drag coefficient does.
    reach_share = np.sqrt(
        (air.density_u_kgpm3 / air.density_kgpm3) ** 2
        + (ball.mass_u_kg / ball.mass_kg) ** 2
        + (2.0 * ball.diameter_u_m / ball.diameter_m) ** 2
    )
    share = np.hypot(reach_share, ball.drag_u / ball.drag_coefficient)
    readout_u = (
        USUAL_READOUT_U_S
        if request.readout_s is None
        else max(STATED_READOUT_SHARE * request.readout_s, 1e-4)
    )
    return Circumstances(
        camera=camera,
        release_m=np.asarray(request.release_m, float),
        release_u_m=request.release_u_m,
        forces=forces_on(ball, air, request.gravity_mps2),
        gravity_u_mps2=request.gravity_u_mps2,
        drag=ball.drag_coefficient,
        drag_u=float(share * ball.drag_coefficient),
        lift_u=ball.lift_u,
        wind_mps=(air.wind_along_mps, air.wind_across_mps),
        wind_u_mps=air.wind_u_mps,
        ball_radius_m=ball.diameter_m / 2.0,
        readout_s=USUAL_READOUT_S if request.readout_s is None else request.readout_s,
        readout_u_s=readout_u,
        drag_air_u=ball.drag_coefficient * air.density_u_kgpm3 / air.density_kgpm3,
        # Who knows the drag to a tenth knows its change over a flight's speeds no better.
        drag_slope_u=ball.drag_u / ball.drag_coefficient,
        reach_share_u=float(reach_share),
        gust_u_mps=GUST_INTENSITY
        * float(np.linalg.norm([air.wind_along_mps, air.wind_across_mps, air.wind_u_mps])),
        camera_parts=request.camera_parts,
    )


def stage_of(known: Circumstances, frame_s: float, camera: Camera | None = None) -> Stage:
    """Return what the flights of a clip are played on.

    Parameters
    ----------
    known : Circumstances
    frame_s : float
        True time from one frame to the next.
    camera : Camera, optional
        In place of the one in `known`.
    """
    return Stage(
        camera=known.camera if camera is None else camera,
        release_m=known.release_m,
        forces=known.forces,
        drag=known.drag,
        drag_u=known.drag_u,
        ball_radius_m=known.ball_radius_m,
        frame_s=frame_s,
        wind_mps=known.wind_mps,
    )
