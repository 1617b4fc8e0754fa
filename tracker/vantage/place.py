"""The whole job on paper: a place to film from, forecast, judged and bettered."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.vantage.changes import Change, changes
from tracker.vantage.forecast import Forecast, forecast
from tracker.vantage.judging import judge
from tracker.vantage.plan import Assumption, Plan, stand_of
from tracker.vantage.search import Limits, Range, best_stand, distance_to, line_of_fire
from tracker.vantage.shots import ExpectedShots
from tracker.vantage.stand import Stand
from tracker.vantage.verdict import Verdict, verdict_of

Array = NDArray[np.float64]
Box = tuple[Range, Range, Range]

JUDGED_BY = ("carry_m", "exit_speed_mps", "launch_angle_deg", "azimuth_deg")
"""Figures that a place can be judged by: columns of shots.csv."""

DRAWN = 161
"""Points along a flight for a drawing: a polygon no eye tells from a curve."""


@dataclass(frozen=True)
class Field:
    """The field around a stand, for a drawing.

    Attributes
    ----------
    flights_m : tuple of ndarray, shape (N, 3)
        The expected flight first, then the others that must stay in view.
    frames_m : ndarray, shape (F, 3)
        Where the expected ball is in each frame.
    line_m : ndarray, shape (2, 2)
        From where to where, along and across, balls fly and roll.
    clear_m : float
        Distance from that line within which nobody stands.
    box : tuple of (float, float), or None
        Along, across and up limits of a search.
    """

    flights_m: tuple[Array, ...]
    frames_m: Array
    line_m: Array
    clear_m: float
    box: Box | None = None


@dataclass(frozen=True)
class Vantage:
    """A place to film from, judged.

    Attributes
    ----------
    stand : Stand
    shots : ExpectedShots
    quantity : str
        Figure that it is judged by.
    verdict : Verdict
    forecast : Forecast
    changes : tuple of Change
        The one that helps that figure most first.
    field : Field
    distance_m : float
        From the camera to the line of fire.
    at_edge : tuple of str
        Edges of the searched box at which the place lies.
    assumed : tuple of Assumption
    """

    stand: Stand
    shots: ExpectedShots
    quantity: str
    verdict: Verdict
    forecast: Forecast
    changes: tuple[Change, ...]
    field: Field
    distance_m: float
    at_edge: tuple[str, ...]
    assumed: tuple[Assumption, ...]


def assess(plan: Plan, quantity: str = "carry_m", box: Box | None = None) -> Vantage:
    """Judge a planned place to film from, or the best one within a box.

    Parameters
    ----------
    plan : Plan
    quantity : str
        One of `JUDGED_BY`.
    box : three (float, float), optional
        Along, across and up limits within which the best place is searched for.

    Raises
    ------
    InputError
        Where the figure is none, or too little would be in view.
    """
    if quantity not in JUDGED_BY:
        known = ", ".join(JUDGED_BY)
        raise InputError(
            f'"{quantity}" is no figure to judge a place by',
            where="--of",
            remedy=f"use one of {known}",
        )
    stand, shots, assumed = stand_of(plan)
    at_edge: tuple[str, ...] = ()
    if box is not None:
        limits = Limits(*box, plan.clear_m)
        stand = best_stand(stand, shots, limits, quantity)
        at_edge = limits.reached(stand.position_m)
    judged = judge(stand, shots)
    found = forecast(stand, shots, judged)
    field = _field(stand, shots, plan.clear_m, box)
    distance_m = distance_to(field.line_m, stand.position_m)
    return Vantage(
        stand=stand,
        shots=shots,
        quantity=quantity,
        verdict=verdict_of(found, quantity, distance_m, plan.clear_m),
        forecast=found,
        changes=changes(stand, shots, judged, quantity),
        field=field,
        distance_m=distance_m,
        at_edge=at_edge,
        assumed=assumed,
    )


def _field(stand: Stand, shots: ExpectedShots, clear_m: float, box: Box | None) -> Field:
    flights = (shots.flight, *shots.others)
    frames = np.arange(0.5 / stand.fps, shots.flight.landing_s, 1.0 / stand.fps)
    return Field(
        flights_m=tuple(
            flight.states(np.linspace(0.0, flight.landing_s, DRAWN))[:, :3] for flight in flights
        ),
        frames_m=shots.flight.states(frames)[:, :3],
        line_m=line_of_fire(stand, shots),
        clear_m=clear_m,
        box=box,
    )
