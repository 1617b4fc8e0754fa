"""A shot that nobody taped anything for, drawn with everything that is not known about it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import looking_at, rotation_from_vector
from calibration.markers import Marker
from calibration.site import Site
from calibration.site.presumed import Presumption, Sighted
from tracker.fitting import circumstances_of, figures_of
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT, SLOPE_AT, WIND_AT
from tracker.fitting.untaped import UntapedCircumstances, UntapedFit, first_launch, fit_untaped
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from
from tracker.measurement.request import ClipRequest
from tracker.records import Track

Array = NDArray[np.float64]

SIZE_PX = (1920, 1080)


@dataclass(frozen=True)
class UnmarkedCase:
    """Positions in the picture, the first guess, and the truth."""

    site: Site
    known: UntapedCircumstances
    sighted: Sighted
    track: Track
    row_share: Array
    release_s: float
    landed_s: tuple[float, float] | None
    truth: dict[str, float]

    def fit(self) -> UntapedFit:
        presumption = Presumption(self.site, self.sighted.side)
        known = replace(self.known, camera=presumption.start(self.sighted))
        launch = first_launch(known, self.track, self.release_s)
        return fit_untaped(
            known,
            presumption.rows,
            Observations(self.track, self.row_share, self.landed_s),
            self.release_s,
            launch,
        )


def drawn_case(
    rng: np.random.Generator,
    *,
    fps: float = 60.0,
    pixel_u: float = 0.3,
    view_stated: bool = True,
    level: bool = True,
    height_stated: bool = False,
    landing: bool = True,
    marker_along_m: tuple[float, ...] = (),
) -> UnmarkedCase:
    """Draw a camera, a shot and its positions; all that is presumed departs from the truth."""
    while True:
        case = _drawn(rng, fps, pixel_u, view_stated, level, height_stated, landing, marker_along_m)
        if case is not None:
            return case


def _drawn(
    rng: np.random.Generator,
    fps: float,
    pixel_u: float,
    view_stated: bool,
    level: bool,
    height_stated: bool,
    landing: bool,
    marker_along_m: tuple[float, ...],
) -> UnmarkedCase | None:
    ball = ball_from("tennis")
    air = air_from(Weather())
    height = rng.uniform(0.4, 1.7)
    request = ClipRequest(
        clip="140mm.mp4",
        setup="140 mm wheels",
        ball=ball,
        air=air,
        gravity_mps2=9.81,
        gravity_u_mps2=0.02,
        release_m=np.array([0.0, 0.0, height]),
        release_u_m=0.02,
        readout_s=None,
    )
    side = int(rng.choice([-1, 1]))
    speed, angle = rng.uniform(9.0, 28.0), np.radians(rng.uniform(20.0, 55.0))
    reach = speed**2 * np.sin(2.0 * angle) / 9.81 / (1.0 + speed / 45.0)
    away = float(np.clip(reach * rng.uniform(0.7, 1.4), 6.0, 90.0))
    view = rng.uniform(58.0, 78.0)
    focal = SIZE_PX[0] / 2.0 / np.tan(np.radians(view) / 2.0)
    place = np.array([rng.uniform(0.3, 0.6) * reach, side * away, rng.uniform(0.8, 2.4)])
    square = np.array([[-side, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, -side, 0.0]], float)
    camera = looking_at(place, place + square[2], focal, SIZE_PX)
    turn = np.array(
        [
            np.arctan2(0.35 * reach * np.tan(angle) - place[2], away) + rng.normal(0.0, 0.03),
            rng.normal(0.0, np.radians(9.0)),
            rng.normal(0.0, np.radians(1.0 if level else 2.5)),
        ]
    )
    camera = replace(camera, rotation=rotation_from_vector(turn) @ square)
    known = circumstances_of(camera, request)
    truth = known.prior_mean()
    own = np.sqrt(1.0 / np.maximum(np.diag(known.prior_information())[:CAMERA_AT], 1e-300))
    for at in (7, 8, 9, SLOPE_AT):
        truth[at] += own[at] * rng.normal()
    for winds in WIND_AT:
        truth[winds] += rng.multivariate_normal(
            np.zeros(len(winds)), known.wind_covariance(), method="svd"
        )
    truth[READOUT_AT] = rng.uniform(0.0, 0.014)
    aside = rng.normal(0.0, np.radians(4.0))
    truth[0] = rng.uniform(0.3, 0.4)
    truth[4:7] = speed * np.array(
        [np.cos(angle) * np.cos(aside), np.cos(angle) * np.sin(aside), np.sin(angle)]
    )
    times = np.arange(0.0, 5.0, 1.0 / fps)
    times = times[times > truth[0]]
    share = np.zeros(len(times))
    for _ in range(3):
        pixels, _, flight = predict(known, truth, Instants(times, share, np.zeros(len(times))))
        share = np.clip(np.nan_to_num(pixels[:, 1]) / SIZE_PX[1] - 0.5, -0.5, 0.5)
    height_at = flight.at(times + truth[READOUT_AT] * share - truth[0])[:, 2]
    flying = np.cumprod(height_at > known.ball_radius_m).astype(bool)
    inside = flying & np.all((pixels > 2) & (pixels < np.array(SIZE_PX) - 3), axis=1)
    if inside.sum() < 12 or inside.sum() < 0.5 * flying.sum() or not inside[0]:
        return None
    figures = figures_of(known, truth)
    first = int(rng.integers(0, 3))
    keep = inside.copy()
    keep[:first] = False
    keep &= rng.random(len(keep)) < 0.9
    if not landing:
        keep &= np.cumsum(inside) < 0.8 * inside.sum()
    count = int(keep.sum())
    track = Track(
        frames=np.flatnonzero(keep),
        times_s=times[keep],
        pixels=pixels[keep] + pixel_u * rng.normal(size=(count, 2)),
        covariances=np.repeat((pixel_u**2 * np.eye(2))[None], count, axis=0),
        lean=np.zeros(count),
    )
    landed = truth[0] + figures.value("flight_time_s")
    landed_s = None
    if landing and inside[flying].all():
        step = 1.0 / fps
        landed_s = (landed + rng.uniform(-0.5, 0.5) * step, 0.4 * step)
    markers = []
    for along in marker_along_m:
        ground = np.array([along, 0.0, 0.0])
        if not 0.0 < camera.project(ground)[0, 0] < SIZE_PX[0] - 1:
            return None
        markers.append(
            Marker(
                f"{along:g} m",
                ground + 0.02 * rng.normal(size=3),
                0.02,
                camera.project(ground)[0] + rng.normal(size=2),
                1.0,
            )
        )
    site = Site(
        SIZE_PX,
        tuple(markers),
        field_of_view_deg=view * (1 + 0.01 * rng.normal()) if view_stated else None,
        level_u_deg=1.0 if level else None,
    )
    release_s = float(track.times_s[0]) - 0.7 / fps
    stated = height + (0.02 * rng.normal() if height_stated else 0.0)
    base = {name: getattr(known, name) for name in known.__dataclass_fields__}
    base["release_m"] = np.array([0.0, 0.0, stated if height_stated else 1.0])
    loose = UntapedCircumstances(
        **base,
        release_each_u_m=np.array([0.02, 0.02, 0.02 if height_stated else 0.5]),
        began_s=release_s,
        began_u_s=1.5 / fps,
    )
    guess = away * np.exp(0.2 * rng.normal())
    sighted = Sighted(side, float(guess), loose.release_m, track.pixels[0])
    names = (
        "exit_speed_mps",
        "launch_angle_deg",
        "azimuth_deg",
        "carry_m",
        "apex_m",
        "flight_time_s",
    )
    return UnmarkedCase(
        site,
        loose,
        sighted,
        track,
        share[keep],
        release_s,
        landed_s,
        {name: figures.value(name) for name in names},
    )
