"""Carries as they would be in still standard air."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracker.comparison.setups import SetupShots, figure
from tracker.flight.air import Weather, air_from
from tracker.launcher.carry import Release, carries_of
from tracker.launcher.prediction import Outdoors
from tracker.records import Shot

SAME_AIR = 1.005
"""Ratio of densities up to which air counts as the same: half a percent moves a carry by 0.2 %."""


def differs(airs: Mapping[str, Outdoors]) -> bool:
    """Return whether there was wind, or the air was not the same on all evenings."""
    airs_ = [one.air for one in airs.values()]
    windy = any(air.wind_along_mps != 0.0 or air.wind_across_mps != 0.0 for air in airs_)
    densities = [air.density_kgpm3 for air in airs_]
    return windy or (len(airs_) > 1 and max(densities) > SAME_AIR * min(densities))


def in_still_air(setup: SetupShots, airs: Mapping[str, Outdoors]) -> SetupShots:
    """Return the shots of a setup with their carries in still standard air.

    Parameters
    ----------
    setup : SetupShots
    airs : mapping of str to Outdoors
        Ball and air of each evening.

    Notes
    -----
    Each measured carry times the ratio of the flight model's carries in still standard air and in
    the air of its evening, from the shot's own speed and angle: what the fit found of this flight
    beyond the model stays in it.
    """
    still = air_from(Weather())
    evenings = setup.evenings or setup.occasions
    shots = list(setup.shots)
    for evening, outdoors in airs.items():
        mine = [i for i, name in enumerate(evenings) if name == evening and _flown(shots[i])]
        if not mine:
            continue
        speeds = np.array([float(shots[i].exit_speed_mps or 0.0) for i in mine])
        height = outdoors.release.height_m if outdoors.release is not None else 1.0
        releases = [Release(height, float(shots[i].launch_angle_deg or 0.0)) for i in mine]
        there, here = (
            carries_of(speeds, releases, outdoors.ball, air) for air in (still, outdoors.air)
        )
        for i, ratio in zip(mine, there / np.maximum(here, 1e-9), strict=True):
            shots[i] = replace(shots[i], carry_m=float(shots[i].carry_m or 0.0) * float(ratio))
    return replace(setup, shots=tuple(shots))


def _flown(shot: Shot) -> bool:
    return bool(
        figure(shot, "carry_m") and shot.exit_speed_mps and shot.launch_angle_deg is not None
    )
