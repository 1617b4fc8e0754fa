"""The conditions of a shot beside its camera, and the priors of the fit that follow from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from tracker.fitting.circumstances import Circumstances
from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.forces import forces_on
from tracker.flight.gusts import GUST_INTENSITY

Array = NDArray[np.float64]

LONGEST_READOUT_S = 0.02
"""Longest usual readout where none is stated, s: most phones and cameras lie between 0 and 0.02 s
at the frame sizes used here. Common practice, no source."""

STATED_READOUT_SHARE = 0.1
"""Standard uncertainty of a stated readout, as a share of it. Common practice, no source."""

LEAST_READOUT_U_S = 1e-4
"""Standard uncertainty of a readout stated as zero, s: keeps its prior finite."""


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What is known about a shot beside its pixels and its camera.

    Attributes
    ----------
    ball : Ball
    air : Air
    gravity_mps2, gravity_u_mps2 : float
    release_m : ndarray, shape (3,)
    release_u_m : float
    readout_s : float or None
        Rolling shutter, first to last row; None when it is not stated.
    camera_parts : mapping of str to ndarray, shape (14, 14)
        The camera's covariance by source, where that is known.
    ground : Ground
    """

    ball: Ball
    air: Air
    gravity_mps2: float
    gravity_u_mps2: float
    release_m: Array
    release_u_m: float
    readout_s: float | None
    camera_parts: Mapping[str, Array] = field(default_factory=dict)
    ground: Ground = LEVEL


def usual_readout(frame_s: float | None = None) -> tuple[float, float]:
    """Return the readout of a camera for which none is stated, and its standard uncertainty, s.

    Anything from nothing to the longest usual one, or to the time from one frame to the next, since
    a sensor reads a frame before the next one: half of that, with the standard deviation of a
    rectangular law (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    frame_s : float, optional
        True time from one frame to the next, s.
    """
    longest = LONGEST_READOUT_S if frame_s is None else min(LONGEST_READOUT_S, frame_s)
    return longest / 2.0, longest / sqrt(12.0)


def circumstances_of(
    camera: Camera, conditions: Conditions, frame_s: float | None = None
) -> Circumstances:
    """Return the priors of a shot's fit: values and standard uncertainties.

    Parameters
    ----------
    camera : Camera
    conditions : Conditions
    frame_s : float, optional
        True time from one frame to the next, s: no readout is longer.
    """
    ball, air = conditions.ball, conditions.air
    # Air density, mass and area act on the flight exactly as the drag coefficient does.
    reach_share = np.sqrt(
        (air.density_u_kgpm3 / air.density_kgpm3) ** 2
        + (ball.mass_u_kg / ball.mass_kg) ** 2
        + (2.0 * ball.diameter_u_m / ball.diameter_m) ** 2
    )
    share = np.hypot(reach_share, ball.drag_u / ball.drag_coefficient)
    readout_s, readout_u_s = usual_readout(frame_s)
    if conditions.readout_s is not None:
        readout_s = conditions.readout_s
        readout_u_s = max(STATED_READOUT_SHARE * readout_s, LEAST_READOUT_U_S)
    return Circumstances(
        camera=camera,
        release_m=np.asarray(conditions.release_m, float),
        release_u_m=conditions.release_u_m,
        forces=forces_on(ball, air, conditions.gravity_mps2),
        gravity_u_mps2=conditions.gravity_u_mps2,
        drag=ball.drag_coefficient,
        drag_u=float(share * ball.drag_coefficient),
        lift_u=ball.lift_u,
        wind_mps=(air.wind_along_mps, air.wind_across_mps),
        wind_u_mps=air.wind_u_mps,
        ball_radius_m=ball.diameter_m / 2.0,
        readout_s=readout_s,
        readout_u_s=readout_u_s,
        drag_air_u=ball.drag_coefficient * air.density_u_kgpm3 / air.density_kgpm3,
        # A drag known to a tenth has a change over a flight's speeds known no better.
        drag_slope_u=ball.drag_u / ball.drag_coefficient,
        reach_share_u=float(reach_share),
        gust_u_mps=GUST_INTENSITY
        * float(np.linalg.norm([air.wind_along_mps, air.wind_across_mps, air.wind_u_mps])),
        camera_parts=conditions.camera_parts,
        ground=conditions.ground,
    )
