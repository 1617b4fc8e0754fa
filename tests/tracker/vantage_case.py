"""A planned place to film from, as tests vary it."""

from dataclasses import dataclass

import numpy as np

from calibration.markers import Marker
from calibration.site import Site
from tracker.fitting import Conditions
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from
from tracker.statistics.components import Estimate
from tracker.vantage import ANGLE_U_DEG, SPEED_U_SHARE, ExpectedShots, Plan, Stand, stand_of


@dataclass(frozen=True)
class Case:
    """The facts that tests vary; a tennis ball filmed from the right of the firing line."""

    position: tuple[float, float, float] = (17.0, -32.0, 1.6)
    position_u: float = 0.1
    aim: tuple[float, float, float] | None = None
    view_deg: float = 70.0
    size: tuple[int, int] = (1920, 1080)
    fps: float = 60.0
    shutter_s: float | None = None
    speed: float = 21.0
    angle: float = 38.0
    height: float = 0.8
    wind: tuple[float, float] | None = None
    readout_s: float | None = None
    markers: tuple[tuple[float, float, float], ...] = ()
    pick_u: float = 1.0
    contrast: float = 50.0
    noise: float = 4.0

    def plan(self) -> Plan:
        weather = Weather()
        if self.wind is not None:
            along, across = self.wind
            weather = Weather(wind_along_mps=along, wind_across_mps=across, wind_u_mps=0.5)
        site = Site(
            self.size,
            tuple(
                Marker(f"marker {number}", np.array(place), pixel_u=self.pick_u)
                for number, place in enumerate(self.markers, start=1)
            ),
            position_u_m=self.position_u,
            field_of_view_deg=self.view_deg,
            level_u_deg=1.0,
        )
        conditions = Conditions(
            ball=ball_from("tennis"),
            air=air_from(weather),
            gravity_mps2=9.81,
            gravity_u_mps2=0.01,
            release_m=np.array([0.0, 0.0, self.height]),
            release_u_m=0.03,
            readout_s=self.readout_s,
        )
        return Plan(
            site=site,
            conditions=conditions,
            speed_mps=Estimate(self.speed, SPEED_U_SHARE * self.speed),
            angle_deg=Estimate(self.angle, ANGLE_U_DEG),
            fps=self.fps,
            position_m=self.position,
            aim_m=self.aim,
            shutter_s=self.shutter_s,
            contrast=self.contrast,
            noise=self.noise,
        )

    def stand(self) -> tuple[Stand, ExpectedShots]:
        stand, shots, _ = stand_of(self.plan())
        return stand, shots
