"""Carries as they would be in still standard air."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracker.comparison.setups import SetupShots
from tracker.flight.air import Air, Weather, air_from
from tracker.launcher.many_carries import Flights, many_carries
from tracker.launcher.prediction import Outdoors

SAME_AIR = 1.005
"""Ratio of densities up to which air counts as the same: half a percent moves a carry by 0.2 %."""


def differs(airs: Mapping[str, Outdoors]) -> bool:
    """Return whether there was wind, or the air was not the same on all evenings."""
    airs_ = {one.air for one in airs.values()}
    windy = any(air.wind_along_mps != 0.0 or air.wind_across_mps != 0.0 for air in airs_)
    densities = [air.density_kgpm3 for air in airs_]
    return windy or (len(airs_) > 1 and max(densities) > SAME_AIR * min(densities))


def uneven_wind(airs: Mapping[str, Outdoors]) -> tuple[float, float] | None:
    """Return by how much the winds along the line of evenings differ, and its uncertainty, m/s.

    None where they differ by no more than that.
    """
    by_wind = sorted((one.air for one in airs.values()), key=lambda air: air.wind_along_mps)
    if not by_wind:
        return None
    gap = by_wind[-1].wind_along_mps - by_wind[0].wind_along_mps
    u = math.hypot(by_wind[-1].wind_u_mps, by_wind[0].wind_u_mps)
    return (gap, u) if gap > u else None


def by_the_wind(calm: SetupShots, setup: SetupShots, airs: Mapping[str, Outdoors]) -> float:
    """Return by how much carries in still air change with the winds' uncertainty, m.

    Parameters
    ----------
    calm, setup : SetupShots
        The carries in still air, and those that were measured.
    airs : mapping of str to Outdoors
        As of `in_still_air`.
    """
    # Many evenings in the same air stay in one.
    windier = {id(one): replace(one, air=_windier(one.air)) for one in airs.values()}
    other = in_still_air(setup, {name: windier[id(one)] for name, one in airs.items()})
    moved = other.figures("carry_m") - calm.figures("carry_m")
    return float(np.max(np.abs(moved), initial=0.0, where=np.isfinite(moved)))


def _windier(air: Air) -> Air:
    return replace(air, wind_along_mps=air.wind_along_mps + air.wind_u_mps)


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
    names, evening_of = setup.by_evening
    carries, speeds = setup.figures("carry_m").copy(), setup.column("exit_speed_mps")
    angles = setup.column("launch_angle_deg")
    # Many evenings may be in the same air, which is one object then.
    each = [airs.get(name) for name in names]
    outdoors = list({id(one): one for one in each if one is not None}.values())
    place_of = {id(one): place for place, one in enumerate(outdoors)}
    places = np.array([place_of.get(id(one), -1) for one in each], int)[evening_of]
    flown = (carries > 0.0) & (speeds > 0.0) & np.isfinite(angles) & (places >= 0)
    balls = list({one.ball: 0 for one in outdoors})
    ball_of = np.array([balls.index(one.ball) for one in outdoors], int)
    height_of = np.array([_height(one) for one in outdoors])
    still, there = [air_from(Weather())], [one.air for one in outdoors]
    for which, ball in enumerate(balls):
        mine = np.flatnonzero(flown)[ball_of[places[flown]] == which]
        here = Flights(speeds[mine], angles[mine], height_of[places[mine]], places[mine])
        calm = replace(here, air_of=np.zeros(mine.size, int))
        ratio = many_carries(calm, ball, still) / np.maximum(many_carries(here, ball, there), 1e-9)
        carries[mine] *= ratio
    return setup.having("carry_m", carries)


def _height(outdoors: Outdoors) -> float:
    """Return the height of the release, a usual one where it is not known, m."""
    return outdoors.release.height_m if outdoors.release is not None else 1.0
