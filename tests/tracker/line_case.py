"""A shot before a camera of which nothing is known but markers along the firing line."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import looking_at
from calibration.markers import Marker
from calibration.site import Site
from calibration.site.presumed import Presumption, Sighted
from tracker.fitting import circumstances_of, figures_of
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.parameters import READOUT_AT
from tracker.fitting.untaped import UntapedCircumstances, UntapedFit, first_launch, fit_untaped
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from
from tracker.measurement.request import ClipRequest
from tracker.measurement.starts.doubted_markers import loose_rows
from tracker.records import Track

Array = NDArray[np.float64]

SIZE_PX, FPS, PIXEL_U, SPEED_MPS, ANGLE_DEG = (1920, 1080), 60.0, 0.3, 24.0, 42.0


@dataclass(frozen=True)
class LineCase:
    """Positions, what is known, and the true figures."""

    site: Site
    known: UntapedCircumstances
    sighted: Sighted
    track: Track
    observed: Observations
    truth: dict[str, float]

    @property
    def presumption(self) -> Presumption:
        return Presumption(self.site, self.sighted.side)

    def fit_from(self, away_m: float, doubting: bool = False) -> UntapedFit:
        presumption = self.presumption
        camera = presumption.start(replace(self.sighted, away_m=away_m))
        known = replace(self.known, camera=camera)
        launch = first_launch(known, self.track, self.known.began_s)
        loose = loose_rows(presumption) if doubting else None
        return fit_untaped(known, presumption.rows, self.observed, known.began_s, launch, loose)


def line_case(rng: np.random.Generator, away_m: float, view_deg: float) -> LineCase:
    """Draw a shot 24 m/s fast before a camera to the left of the line; no place of it is taped."""
    height = 1.1
    request = ClipRequest(
        clip="140mm.mp4",
        setup="140 mm wheels",
        ball=ball_from("tennis"),
        air=air_from(Weather()),
        gravity_mps2=9.81,
        gravity_u_mps2=0.02,
        release_m=np.array([0.0, 0.0, height]),
        release_u_m=0.02,
        readout_s=None,
    )
    focal = SIZE_PX[0] / 2.0 / np.tan(np.radians(view_deg) / 2.0)
    camera = looking_at((14.0, away_m, 1.6), (15.0, 0.0, 6.0), focal, SIZE_PX, 0.004)
    known = circumstances_of(camera, request)
    truth = known.prior_mean()
    truth[0], truth[READOUT_AT] = 0.35, 0.009
    angle = np.radians(ANGLE_DEG)
    truth[4:7] = SPEED_MPS * np.array([np.cos(angle), 0.03, np.sin(angle)])
    flight_s = figures_of(known, truth).value("flight_time_s")
    frames = np.arange(22, int((truth[0] + 0.95 * flight_s) * FPS))
    times, share = frames / FPS, np.zeros(len(frames))
    for _ in range(3):
        pixels = predict(known, truth, Instants(times, share, np.zeros(len(times))))[0]
        share = pixels[:, 1] / SIZE_PX[1] - 0.5
    pixels = pixels + PIXEL_U * rng.normal(size=pixels.shape)
    covariances = np.repeat((PIXEL_U**2 * np.eye(2))[None], len(times), axis=0)
    track = Track(frames, times, pixels, covariances, np.zeros(len(times)))
    markers = []
    for along in (0.0, 10.0, 20.0):
        ground = np.array([along, 0.0, 0.0])
        pixel = camera.project(ground)[0] + 0.7 * rng.normal(size=2)
        markers.append(Marker(f"{along:g} m", ground, 0.03, pixel, 1.0))
    loose = UntapedCircumstances(
        **{name: getattr(known, name) for name in known.__dataclass_fields__},
        release_each_u_m=np.full(3, 0.02),
        began_s=float(times[0]) - 0.7 / FPS,
        began_u_s=1.5 / FPS,
    )
    return LineCase(
        Site(SIZE_PX, tuple(markers), level_u_deg=1.0),
        loose,
        Sighted(1, away_m, loose.release_m, pixels[0]),
        track,
        Observations(track, share),
        {
            name: figures_of(known, truth).value(name)
            for name in ("exit_speed_mps", "launch_angle_deg", "carry_m")
        },
    )
