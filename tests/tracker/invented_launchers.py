"""Launchers whose truth is not the model's: drawn friction, stiffness, hysteresis, rims and feeds.

A launcher's wheels run as the model's motors run them, with drawn factors on what their setups
state; its balls pass between the rims by the integration in time of `nip_in_time`, with a curve of
loading and unloading, a shear of the ball and a give of the rims that the model does not know.
"""

from dataclasses import dataclass

import numpy as np

from tests.tracker.nip_in_time import Case, passage
from tracker.flight.ball import ball_named
from tracker.launcher.machine import Machine
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.spinning import Spinning, running

TENNIS = ball_named("tennis")
WHEELS = (100.0, 120.0, 140.0, 180.0)
"""Diameters that are shot, mm."""

UNTESTED = 160.0
"""Diameter that is predicted, mm."""


def machine(diameter: float, duty: float = 100.0) -> Machine:
    """Return a machine as its builder would write it down."""
    tables = {
        "wheel": {
            "kind": "spoked", "diameter_mm": diameter, "mass_g": 210.0 * (diameter / 140.0) ** 2,
        },
        "motor": {
            "supply_v": 12.0, "no_load_rpm": 6000.0, "rated_power_w": 67.0, "duty_percent": duty,
        },
        "grip": {"gap_mm": 48.0},
    }  # fmt: skip
    return machine_from_setup(tables, "", TENNIS.diameter_m)


@dataclass(frozen=True)
class Launcher:
    """The truth of one launcher: factors on its numbers, and the grip of its rims."""

    factors: dict[str, float]
    grip: dict[str, float]
    give: float
    """Share of the squeeze that the rims take up."""

    def stated_factors(self) -> dict[str, float]:
        """Return the logarithms of the true numbers over those that the builder wrote down.

        The stiffness is the mean force over the squeeze that the builder's gap means: a curve
        that hardens has less of it, and so have rims that give.
        """
        stiffness = (
            self.grip["stiffness"] / 15e3 * (1 - self.give) * 2 / (self.grip["hardening"] + 1)
        )
        ratios = {
            **self.factors,
            "grip.friction": self.grip["friction"] / 0.7,
            "grip.stiffness_n_per_mm": stiffness,
            "grip.squeeze_loss_percent": self.grip["loss"] / 0.4,
            "grip.feed_speed_mps": self.grip["feed"] / 0.5,
        }
        return {key: float(np.log(ratio)) for key, ratio in ratios.items()}

    def machine(self, diameter: float, duty: float = 100.0) -> Machine:
        """Return the true machine."""
        stated = machine(diameter, duty)
        return stated.having({k: float(stated.values[k]) * f for k, f in self.factors.items()})

    def speed(self, diameter: float, duty: float = 100.0) -> float:
        """Return the true mean exit speed, m/s; zero where the ball sticks."""
        true = self.machine(diameter, duty)
        wheel, radius = true.wheel, diameter / 2e3
        turning = [float(w) for w in running(true).speeds_radps]
        case = Case(
            wheel_radius=radius,
            wheel_inertia=float(wheel.inertia_kgm2),
            rim_speeds=(turning[0] * radius, turning[1] * radius),
            gap=0.048 + self.give * (0.067 - 0.048),
            motor_slope=float(Spinning(true).push_nms()),
            **self.grip,
        )
        return passage(case, step=4e-6).speed


def invent(seed: int) -> Launcher:
    """Return a launcher drawn at random."""
    draw = np.random.default_rng([15, seed])
    hard = draw.uniform(1.0, 1.4)
    return Launcher(
        {
            "motor.no_load_rpm": float(np.exp(0.05 * draw.normal())),
            "motor.rated_power_w": float(np.exp(0.15 * draw.normal())),
            "losses.windage_factor": float(np.exp(0.6 * draw.normal())),
            "losses.bearing_mnm": float(np.exp(0.6 * draw.normal())),
        },
        {
            "friction": draw.uniform(0.45, 1.0),
            "stiffness": draw.uniform(9e3, 22e3),
            "loss": draw.uniform(0.2, 0.65),
            "hardening": hard,
            "feed": draw.uniform(0.2, 2.0),
            "shear": draw.uniform(0.6, 1.4),
            "shear_damping": draw.uniform(0.3, 0.6),
        },
        draw.uniform(0.0, 0.2),
    )
