"""A camera of which too little was measured, completed by priors.

Where a person films a launcher from the side, the camera stands some distance from the line of
fire, at about the height of a person, and looks roughly across. None of that fixes the camera,
but together with whatever was measured it gives a camera with a wide covariance.
"""

from contextlib import suppress
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

UNTAPED_AWAY_M, UNTAPED_AWAY_LOG_SD = 8.0, 1.0
"""The same where nobody taped anything, so that a ball may have been thrown before a phone: 95 %
from 1.1 to 57 m. Common practice, no source."""

USUAL_HEIGHT_M, HEIGHT_SD_M = 1.7, 0.9
"""Height above the ground, m."""

HEADING_SD_RAD, UNTAPED_HEADING_SD_RAD = np.radians([12.0, 25.0])
"""Of the angle between the line of sight and the normal of the firing line's upright plane; and
where nothing of that line is taped, so that it is the flight's own: nobody set the camera up by
it."""

PITCH_SD_RAD = np.radians(15.0)
ROLL_SD_RAD = np.radians(3.0)
"""Of the angles of the line of sight above the horizontal and of the frame about it."""

ALONG_SHARE, ALONG_SD_SHARE = 0.4, 1.0
"""Distance down the firing line, as a share of the distance from it."""

SLIP_FACTOR = 4.0
"""Uncertainties of a camera that one slip of some pixels among few picks may have moved. Common
practice, no source."""

AIM_M = 2.0
"""Height over the markers at which a camera is aimed that must show a flight, m. Common practice,
no source."""

LEAST_AWAY_M = 0.1
"""Distance from the plane that is taken where an iteration strays to its other side, m."""

USUAL = np.array([0.0, USUAL_HEIGHT_M, ALONG_SHARE, 0.0, 0.0, 0.0])
USUAL_SD = np.array(
    [AWAY_LOG_SD, HEIGHT_SD_M, ALONG_SD_SHARE, HEADING_SD_RAD, PITCH_SD_RAD, ROLL_SD_RAD]
)
"""Of the distance's logarithm (about the expected one), height (m), place along the line, heading,
pitch and roll (rad): the constants above in one order."""

LENS_AT = slice(6, CAMERA_SIZE)
"""Where the lens stands among a camera's parameters."""

AWAY_AT, HEADING_AT = 0, 3
"""Where the distance and the heading stand among what is usual."""

SIGHT_U_PX = 20.0
"""Uncertainty of a release seen at first glance, px; the fit of the flight refines it. Common
practice, no source."""

SCALE_LOG_SD = 0.3
"""Of the logarithm of a distance that the pull of gravity in the picture gives; it only starts a
fit. Common practice, no source."""


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
    away_log_sd : float
        Standard uncertainty of its logarithm.

    Raises
    ------
    InputErrors
        For values that cannot be.
    """

    def __init__(
        self,
        site: Site,
        side: int,
        away_m: float = USUAL_AWAY_M,
        away_log_sd: float = AWAY_LOG_SD,
    ) -> None:
        faults = value_faults(site)
        if faults:
            raise InputErrors(faults)
        self.site = site
        self._side, self._away_m = side, away_m
        self._observations = Observations(site)
        self._usual_sd = USUAL_SD.copy()
        self._usual_sd[AWAY_AT] = away_log_sd
        if not site.markers and site.position_m is None:
            self._usual_sd[HEADING_AT] = UNTAPED_HEADING_SD_RAD

    def of(self, site: Site) -> "Presumption":
        """Return the same presumptions about another site."""
        return Presumption(site, self._side, self._away_m, float(self._usual_sd[AWAY_AT]))

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
        gap, slope = self.rows(camera)
        if not (np.all(np.isfinite(gap)) and np.all(np.isfinite(slope))):
            raise NotDetermined("no camera could stand there")
        covariance = inverse_of_normal(slope.T @ slope)
        return covariance @ (slope.T @ gap), (covariance + covariance.T) / 2.0

    def with_lens_covariance(self, camera: Camera) -> Camera:
        """Return a camera whose lens alone has the covariance of all that is known.

        The motion of the background may correct the lens by it; of the place it shows too little.
        Nothing is covered where no camera could stand there.
        """
        covariance = np.zeros((CAMERA_SIZE, CAMERA_SIZE))
        with suppress(NotDetermined):
            covariance[LENS_AT, LENS_AT] = self.around(camera)[1][LENS_AT, LENS_AT]
        return camera.with_covariance(covariance)

    def rows(self, camera: Camera) -> tuple[Array, Array]:
        """Return all that is known of the camera, held against a given one.

        The markers' true places are eliminated: each row is freed of what their moves can explain.

        Parameters
        ----------
        camera : Camera

        Returns
        -------
        gap : ndarray, shape (M,)
            Whitened residuals, known less computed; not finite for a camera that cannot be.
        slope : ndarray, shape (M, 14)
            Derivative of what is computed, in the order of `calibration.camera.PARAMETERS`.
        """
        gap, slope = self._white(camera)
        own, places = slope[:, :CAMERA_SIZE], slope[:, CAMERA_SIZE:]
        if places.shape[1] and np.all(np.isfinite(slope)) and np.all(np.isfinite(gap)):
            basis = np.linalg.qr(places)[0]
            gap, own = gap - basis @ (basis.T @ gap), own - basis @ (basis.T @ own)
        return gap, own

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
        values, by_camera = self._usual(camera)
        extra = np.zeros((len(values), slope.shape[1]))
        extra[:, :CAMERA_SIZE] = by_camera
        return np.concatenate([gap, values]), np.concatenate([slope, extra])

    def _usual(self, camera: Camera) -> tuple[Array, Array]:
        """Return by how many standard deviations a camera is other than usual, and the slopes.

        Returns
        -------
        ndarray, shape (6,)
            Usual less actual.
        ndarray, shape (6, 14)
            Derivative of the actual by the camera's parameters.
        """
        along, across, up = camera.position
        right, down, forward = camera.rotation
        away = max(self._side * across, LEAST_AWAY_M)
        by_across = self._side / away if self._side * across > LEAST_AWAY_M else 0.0
        # A small turn (x, y, z) changes forward by x down - y right, and so on around.
        by_turn = np.array([down, -right, np.zeros(3)])
        square, by_square = _angle(
            forward[0], -self._side * forward[1], by_turn[:, 0], -self._side * by_turn[:, 1]
        )
        flat = float(np.hypot(forward[0], forward[1]))
        by_flat = by_turn[:, :2] @ forward[:2] / flat
        pitch, by_pitch = _angle(forward[2], flat, by_turn[:, 2], by_flat)
        roll, by_roll = _angle(
            -right[2],
            -down[2],
            np.array([0.0, -forward[2], down[2]]),
            np.array([forward[2], 0.0, -right[2]]),
        )
        slope = np.zeros((6, CAMERA_SIZE))
        slope[0, 4] = by_across
        slope[1, 5] = 1.0
        slope[2, 3:5] = 1.0 / away, -along / away * by_across
        slope[3:, :3] = by_square, by_pitch, by_roll
        actual = np.array([np.log(away / self._away_m), up, along / away, square, pitch, roll])
        return (USUAL - actual) / self._usual_sd, slope / self._usual_sd[:, None]


def _angle(sine: float, cosine: float, by_sine: Array, by_cosine: Array) -> tuple[float, Array]:
    """Return the angle of a sine and a cosine of any length, and its derivative, rad."""
    size = sine**2 + cosine**2
    return float(np.arctan2(sine, cosine)), (cosine * by_sine - sine * by_cosine) / size


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
