"""A shot on Fen Lane field as the fit gets it: a calibrated camera, a ball, drawn positions."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, looking_at
from calibration.markers import Marker
from calibration.site import Calibration, Site, solve
from tracker.fitting import Circumstances, FittedFlight, Observations, circumstances_of, fit_flight
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import CAMERA_AT
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from
from tracker.measurement.request import ClipRequest
from tracker.records import Track

Array = NDArray[np.float64]

SIZE_PX = (1920, 1080)
FRAME_S = 1.0 / 120.0
PIXEL_U = 0.15


@dataclass(frozen=True)
class Drawn:
    """A track, what is known about it, and the truth."""

    circumstances: Circumstances
    track: Track
    row_share: Array
    truth: Array

    @property
    def observed(self) -> Observations:
        return Observations(self.track, self.row_share)

    def fit(self) -> FittedFlight:
        return fit_flight(self.circumstances, self.observed, self.truth[0], self.truth[1:12])


def calibrated(spacing: float = 1.0, pixel_u: float = 0.5) -> Camera:
    """A camera from markers whose labels are true spacing divided by `spacing`."""
    return calibration(spacing, pixel_u).camera


@cache
def calibration(spacing: float = 1.0, pixel_u: float = 0.5) -> Calibration:
    """The calibration of that camera."""
    return solve(calibration_site(spacing, pixel_u))


def calibration_site(spacing: float = 1.0, pixel_u: float = 0.5) -> Site:
    """What is known of where that camera stands."""
    seen_by = looking_at(np.array([17.0, -33.0, 1.5]), np.array([17.0, 0.0, 3.5]), 1300.0, SIZE_PX)
    truly = [(0, 0, 0), (10, 0, 0), (20, 0, 0), (30, 0, 0), (0, 0, 2), (20, 0, 2), (20, 6, 0)]
    markers = tuple(
        Marker(
            str(at),
            np.array(at, float) / spacing,
            0.02,
            seen_by.project(np.array(at, float))[0],
            pixel_u,
        )
        for at in truly
    )
    taped = np.array([17.0, -33.0, 1.5]) / spacing
    return Site(SIZE_PX, markers, position_m=taped, position_u_m=0.1, level_u_deg=1.0)


def circumstances(camera: Camera, ball: str = "tennis") -> Circumstances:
    return circumstances_of(camera, request(ball))


def request(ball: str = "tennis") -> ClipRequest:
    """The conditions of the shots."""
    return ClipRequest(
        clip="140mm.mp4",
        setup="140 mm wheels",
        ball=ball_from(ball),
        air=air_from(Weather(temperature_c=15.0, pressure_hpa=1013.0, wind_u_mps=0.5)),
        gravity_mps2=9.81,
        gravity_u_mps2=0.005,
        release_m=np.array([0.0, 0.0, 0.8]),
        release_u_m=0.03,
        readout_s=0.008,
    )


def drawn(
    rng: np.random.Generator, known: Circumstances | None = None, wrong: bool = True
) -> Drawn:
    """Draw a shot and its positions; the truth departs from what is known as it may."""
    known = circumstances(calibrated()) if known is None else known
    truth = known.prior_mean()
    if wrong:
        truth = truth + departures(rng, known)
    speed, angle, aside = rng.uniform(17, 21), np.radians(rng.uniform(35, 45)), rng.normal(0, 0.02)
    truth[0] = 0.5
    truth[4:7] = speed * np.array(
        [np.cos(angle) * np.cos(aside), np.cos(angle) * np.sin(aside), np.sin(angle)]
    )
    return positions(rng, known, truth)


def departures(rng: np.random.Generator, known: Circumstances, only: slice | None = None) -> Array:
    """Draw by how much the truth differs from what is known, in every parameter or in some."""
    information = known.prior_information()
    found = np.zeros(len(information))
    determined = np.flatnonzero(np.diag(information) > 0)
    determined = determined[determined < CAMERA_AT]
    spread = np.linalg.inv(information[np.ix_(determined, determined)])
    found[determined] = np.linalg.cholesky(spread) @ rng.normal(size=len(determined))
    found[CAMERA_AT:] = rng.multivariate_normal(
        np.zeros(len(found) - CAMERA_AT), known.camera.covariance, method="svd"
    )
    if only is not None:
        kept = np.zeros(len(found))
        kept[only] = found[only]
        found = kept
    return found


def positions(rng: np.random.Generator, known: Circumstances, truth: Array) -> Drawn:
    """Draw the positions of a flight until it lies on the ground."""
    times = np.arange(0.5 + 0.5 * FRAME_S, 5.0, FRAME_S)
    share = np.zeros(len(times))
    lean = 0.02 * np.sign(np.sin(times * 3.0))
    for _ in range(3):
        pixels, _, flight = predict(known, truth, Instants(times, share, lean))
        share = pixels[:, 1] / SIZE_PX[1] - 0.5
    flying = flight.at(times - truth[0])[:, 2] > known.ball_radius_m
    inside = np.all((pixels > 0) & (pixels < SIZE_PX), axis=1) & flying
    count = int(inside.sum())
    noise = PIXEL_U * rng.normal(size=(count, 2))
    track = Track(
        frames=np.flatnonzero(inside),
        times_s=times[inside],
        pixels=pixels[inside] + noise,
        covariances=np.repeat((PIXEL_U**2 * np.eye(2))[None], count, axis=0),
        lean=lean[inside],
    )
    return Drawn(known, track, share[inside], truth)


def at_another_rate(case: Drawn, factor: float) -> Drawn:
    """The same clip with every time stretched: the frame rate is stated too small by `factor`."""
    truth = case.truth.copy()
    truth[0] *= factor
    truth[4:7] /= factor
    return replace(
        case, track=replace(case.track, times_s=case.track.times_s * factor), truth=truth
    )
