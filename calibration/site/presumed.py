"""A camera of which too little was measured, completed by priors.

Where a person films a launcher from the side, the camera stands some distance from the line of
fire, at about the height of a person, and looks roughly across. None of that fixes the camera,
but together with whatever was measured it gives a camera with a wide covariance.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Limits, NotDetermined, adjust
from calibration.adjustment.normal import inverse_of_normal
from calibration.camera import Camera, rotation_from_vector
from calibration.errors import InputErrors
from calibration.site.forecast import camera_at
from calibration.site.observations import CAMERA_SIZE, Observations, Posed, horizontal_view
from calibration.site.stand import Site, value_faults

Array = NDArray[np.float64]

# Where cameras stand that film a launcher from the side. Common practice, no source.
USUAL_AWAY_M, AWAY_LOG_SD = 28.0, 0.65
"""Distance from the upright plane of the firing line, m: 95 % from 8 to 100 m."""

USUAL_HEIGHT_M, HEIGHT_SD_M = 1.7, 0.9
"""Height above the ground, m."""

HEADING_SD_RAD = np.radians(12.0)
"""Of the angle between the line of sight and the normal of the firing line's upright plane."""

PITCH_SD_RAD = np.radians(15.0)
ROLL_SD_RAD = np.radians(3.0)
"""Of the angles of the line of sight above the horizontal and of the frame about it."""

ALONG_SHARE, ALONG_SD_SHARE = 0.4, 1.0
"""Distance down the firing line, as a share of the distance from it."""

SLIP_FACTOR = 4.0
"""Uncertainties of a camera that one slip of some pixels among few picks may have moved."""

AIM_M = 2.0
"""Height over the markers at which a camera is aimed that must show a flight, m."""

STEP = 1e-5
"""Of the central differences, in m and rad: the priors are smooth over far more."""

SIGHT_U_PX = 20.0
"""Uncertainty of a release seen at first glance, px; the fit of the flight refines it."""

SCALE_LOG_SD = 0.3
"""Of the logarithm of a distance that the pull of gravity in the picture gives."""


@dataclass(frozen=True)
class Sighted:
    """First approximation from a flight.

    Attributes
    ----------
    side : int
        1 where the camera stands to the left of the firing line (shots fly leftward in the
        picture), -1 to the right.
    away_m : float
        Distance from the firing line's plane.
    release_m : ndarray, shape (3,)
        Ground coordinates of the release.
    release_px : ndarray, shape (2,)
        Its pixel.
    """

    side: int
    away_m: float
    release_m: Array
    release_px: Array


class Presumption:
    """Everything measured and presumed about one camera stand.

    Parameters
    ----------
    site : Site
        Its markers may be none at all.
    side : int
        As in `Sighted`.
    away_m : float
        Distance from the firing line's plane at which a camera is expected, within a factor.

    Raises
    ------
    InputErrors
        For values that cannot be.
    """

    def __init__(self, site: Site, side: int, away_m: float = USUAL_AWAY_M) -> None:
        faults = value_faults(site)
        if faults:
            raise InputErrors(faults)
        self.site = site
        self._side, self._away_m = side, away_m
        self._observations = Observations(site)

    def around(self, camera: Camera) -> tuple[Array, Array]:
        """Return what is known of the camera, as a normal law near a given one.

        Parameters
        ----------
        camera : Camera
            Where everything is linearised.

        Returns
        -------
        mean : ndarray, shape (14,)
            Expected departure from `camera`, in the order of `calibration.camera.PARAMETERS`.
        covariance : ndarray, shape (14, 14)

        Raises
        ------
        NotDetermined
            For a camera that cannot be, where an iteration has run away.
        """
        gap, slope = self._white(camera)
        if not (np.all(np.isfinite(gap)) and np.all(np.isfinite(slope))):
            raise NotDetermined("no camera could stand there")
        information, pull = slope.T @ slope, slope.T @ gap
        size = CAMERA_SIZE
        if len(information) > size:
            # The markers' true places are summed out (Schur's complement).
            reach = information[:size, size:] @ np.linalg.inv(information[size:, size:])
            pull = pull[:size] - reach @ pull[size:]
            information = information[:size, :size] - reach @ information[size:, :size]
        covariance = inverse_of_normal(information)
        return covariance @ pull, (covariance + covariance.T) / 2.0

    def start(self, sighted: Sighted) -> Camera:
        """Return a camera that agrees with what is known and with a first approximation."""
        observations, side, away = self._observations, sighted.side, sighted.away_m
        values = observations.lens_values
        square = np.array([[-side, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, -side, 0.0]], float)
        place = sighted.release_m + np.array([0.0, side * away, 0.0])
        place[2] = USUAL_HEIGHT_M
        camera = Camera(
            rotation=square,
            position=place if self.site.position_m is None else self.site.position_m,
            focal_px=float(np.exp(values[0])),
            centre_px=values[1:3],
            size_px=self.site.size_px,
            distortion=values[3:],
        )
        if self.site.lens is None and self.site.field_of_view_deg is not None:
            for _ in range(5):
                view, change = horizontal_view(camera)
                step = np.zeros(CAMERA_SIZE)
                step[6] = (np.radians(self.site.field_of_view_deg) - view) / change[6]
                camera = camera.perturbed(step)
        if self.site.position_m is None:
            # Square to the line of fire, and shifted along it until the release lies in its pixel.
            right = (sighted.release_px[0] - camera.centre_px[0]) / camera.focal_px * away
            shifted = place + np.array([side * right, 0.0, 0.0])
            shifted_camera = Camera(
                square, shifted, camera.focal_px, camera.centre_px, camera.size_px
            )
            missed = sighted.release_px[1] - shifted_camera.project(sighted.release_m)[0, 1]
            tilt = rotation_from_vector((-missed / camera.focal_px, 0.0, 0.0))
            camera = Camera(
                tilt @ square,
                shifted,
                camera.focal_px,
                camera.centre_px,
                camera.size_px,
                camera.distortion,
            )
        return self._settled(camera, sighted)

    def _settled(self, camera: Camera, sighted: Sighted) -> Camera:
        """Adjust a camera to everything known, the release's pixel and the distance."""

        def model(at: Camera) -> tuple[Array, Array]:
            gap, slope = self._white(at)
            pixel, _, by_camera = at.project_with_jacobians(sighted.release_m)
            seen = np.zeros((3, slope.shape[1]))
            seen[:2, :CAMERA_SIZE] = by_camera[0] / SIGHT_U_PX
            away = sighted.side * (at.position[1] - sighted.release_m[1])
            if away <= 0.0:
                return np.full(len(gap) + 3, np.nan), np.full((len(gap) + 3, len(slope.T)), np.nan)
            seen[2, 4] = sighted.side / away / SCALE_LOG_SD
            more = np.append(
                (sighted.release_px - pixel[0]) / SIGHT_U_PX,
                np.log(sighted.away_m / away) / SCALE_LOG_SD,
            )
            return np.concatenate([gap, more]), np.concatenate([slope, seen])

        def move(at: Camera, step: Array) -> Camera:
            return at.perturbed(step[:CAMERA_SIZE])

        rows = len(self._white(camera)[0]) + 3
        try:
            fit = adjust(model, camera, np.ones(rows), move=move, limits=Limits(40, 1e-2))
        except NotDetermined:
            return camera
        settled: Camera = fit.state
        return settled

    def _white(self, camera: Camera) -> tuple[Array, Array]:
        """Return residuals and slopes of all that is known, in units of its uncertainty."""
        observations = self._observations
        gap, slope = observations.model(Posed(camera, observations.taped))
        uncertainty = observations.uncertainty
        if uncertainty.ndim == 1:
            gap, slope = gap / uncertainty, slope / uncertainty[:, None]
        else:
            root = np.linalg.inv(np.linalg.cholesky(uncertainty))
            gap, slope = root @ gap, root @ slope
        values = self._usual(camera)
        extra = np.zeros((len(values), slope.shape[1]))
        for at in range(6):
            step = np.zeros(CAMERA_SIZE)
            step[at] = STEP
            ahead = self._usual(camera.perturbed(step))
            extra[:, at] = -(ahead - self._usual(camera.perturbed(-step))) / (2.0 * STEP)
        return np.concatenate([gap, values]), np.concatenate([slope, extra])

    def _usual(self, camera: Camera) -> Array:
        """Return by how many standard deviations a camera is other than usual, shape (6,)."""
        forward = camera.rotation[2]
        level = np.cross(forward, (0.0, 0.0, 1.0))
        seen = camera.rotation @ level
        away = max(self._side * camera.position[1], 0.1)
        square = np.arctan2(forward[0], -self._side * forward[1])
        return np.array(
            [
                -np.log(away / self._away_m) / AWAY_LOG_SD,
                (USUAL_HEIGHT_M - camera.position[2]) / HEIGHT_SD_M,
                (ALONG_SHARE - camera.position[0] / away) / ALONG_SD_SHARE,
                -square / HEADING_SD_RAD,
                -np.arctan2(forward[2], np.hypot(forward[0], forward[1])) / PITCH_SD_RAD,
                -np.arctan2(-seen[1], seen[0]) / ROLL_SD_RAD,
            ]
        )


def loosened(camera: Camera) -> Camera:
    """Return a calibrated camera as known if one of its markers may have been picked wrongly."""
    return camera.with_covariance(SLIP_FACTOR**2 * camera.covariance)


def expected_camera(site: Site) -> Camera | None:
    """Return the camera of a site before any marker is picked, aimed at the middle of its markers.

    Its covariance is that of the taped position, the lens or field of view and the priors here.
    None where its position was not taped, or there is no marker to aim at.
    """
    if site.position_m is None or not site.markers:
        return None
    middle = np.mean([marker.ground_m for marker in site.markers], axis=0)
    unpicked = replace(site, markers=())
    camera = camera_at(unpicked, site.position_m, middle + np.array([0.0, 0.0, AIM_M]))
    side = 1 if site.position_m[1] > middle[1] else -1
    _, covariance = Presumption(unpicked, side).around(camera)
    return camera.with_covariance(covariance)
