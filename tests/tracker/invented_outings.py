"""Sessions with results that no clip was needed for: shots drawn from the launcher's own model."""

import itertools
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_named
from tracker.launcher.carry import Release, carry_of
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import launch
from tracker.records import Quality, Shot
from tracker.results.tables import shots_csv

TENNIS = ball_named("tennis")
AIR = air_from(Weather(temperature_c=18.0))
TRUTH = {"losses.windage_factor": 24.0, "motor.no_load_rpm": 5700.0, "grip.friction": 0.95}
WHEELS = {"100 mm wheels": (100.0, 110.0), "140 mm wheels": (140.0, 210.0),
          "180 mm wheels": (180.0, 350.0)}  # fmt: skip
HEAD = """name = "Fen Lane, wheel trial"
date = 2026-05-17

[ball]
type = "tennis"

[air]
temperature_c = 18.0

[release]
height_m = 0.8
angle_deg = 42.0

[camera]
field_of_view_deg = 69.0

[[marker]]
name = "10 m cone"
ground_m = [10.0, 0.0, 0.0]
pixel = [500.0, 700.0]
"""
MOTOR = """[setup.motor]
supply_v = 12.0
no_load_rpm = 6000.0
rated_power_w = 67.0
[setup.battery]
capacity_ah = 7.0
[setup.grip]
gap_mm = 48.0
"""


def tables(name: str) -> dict:
    diameter, mass = WHEELS[name]
    return {
        "wheel": {"kind": "spoked", "diameter_mm": diameter, "mass_g": mass},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "rated_power_w": 67.0},
        "battery": {"capacity_ah": 7.0},
        "grip": {"gap_mm": 48.0},
    }


def shots_of(name: str, count: int, scatter: float = 0.02, seed: int = 1) -> list[Shot]:
    """Shots of the true machine, its exit speed scattering by a share of itself."""
    known, more = _series(name, scatter, seed)
    while len(known) < count:
        known.append(next(more))
    return known[:count]


@cache
def _series(name: str, scatter: float, seed: int) -> tuple[list[Shot], Iterator[Shot]]:
    """The shots of a series that were drawn already, and those to come."""
    return [], _drawn(name, scatter, seed)


def _drawn(name: str, scatter: float, seed: int) -> Iterator[Shot]:
    """Draw the shots of a series, one after another."""
    machine = machine_from_setup(tables(name), "", TENNIS.diameter_m).having(TRUTH)
    speed = launch(machine, TENNIS).speed_mps
    draw = np.random.default_rng([seed, int(machine.values["wheel.diameter_mm"])])
    for number in itertools.count(1):
        v = speed * (1 + scatter * draw.normal())
        angle, azimuth = 42.0 + 0.4 * draw.normal(), 0.8 * draw.normal()
        flight = carry_of(v, 0.0, Release(0.8, angle), TENNIS, AIR)
        across = flight.carry_m * np.sin(np.radians(azimuth))
        yield Shot(
            clip=f"clips/{name.split()[0]}mm.mp4", setup=name, shot=number,
            release_s=12.0 * number, exit_speed_mps=v, exit_speed_u_mps=0.006 * v,
            launch_angle_deg=angle, launch_angle_u_deg=0.2, azimuth_deg=azimuth,
            azimuth_u_deg=0.5, carry_m=flight.carry_m, carry_u_m=0.01 * flight.carry_m,
            landing_along_m=flight.carry_m * np.cos(np.radians(azimuth)),
            landing_along_u_m=0.3, landing_across_m=float(across), landing_across_u_m=0.3,
            apex_m=flight.apex_m, apex_u_m=0.1, flight_time_s=flight.flight_time_s,
            flight_time_u_s=0.01, landing_speed_mps=15.0, landing_angle_deg=50.0,
            frames_seen=120, landing_seen=True, quality=Quality.GOOD,
        )  # fmt: skip


def session(folder: Path, counts: dict[str, int], seed: int = 1, extra: str = "") -> Path:
    """Write a session of these setups with so many shots each; None for no results at all."""
    text = HEAD
    rows: list[Shot] = []
    for name, count in counts.items():
        diameter, mass = WHEELS[name]
        text += f'\n[[setup]]\nname = "{name}"\n[setup.wheel]\nkind = "spoked"\n'
        text += f"diameter_mm = {diameter}\nmass_g = {mass}\n{MOTOR}"
        rows += shots_of(name, count, seed=seed)
    text += extra
    for name in counts:
        text += f'\n[[clip]]\nfile = "clips/{name.split()[0]}mm.mp4"\nsetup = "{name}"\n'
    (folder / "results").mkdir(parents=True)
    (folder / "clips").mkdir()
    for name in counts:
        (folder / "clips" / f"{name.split()[0]}mm.mp4").write_bytes(b"")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    (folder / "results" / "shots.csv").write_text(shots_csv(rows), encoding="utf-8")
    return folder
