"""The flights of a report's side view, from the places where the ball was found."""

from collections.abc import Sequence

from tracker.records import Quality, Shot
from tracker.report.document.facts import Curve

Point = tuple[float, float]

SLOPE_PLACES = 6
"""Last places whose line gives the direction in which a flight goes on."""

REST_POINTS = 16
"""Points of what is extrapolated; enough for a smooth line."""

CLOSE_M = 0.15
"""A last place this near to the landing needs no extrapolation, m: about a frame of flight."""


def curve_of(
    shot: Shot, places: Sequence[Point], label: str, rise_along: float = 0.0
) -> Curve | None:
    """Return a shot's flight from the side; None without places or for a rejected row.

    From the last place a parabola that goes on in the same direction ends at the landing.

    Parameters
    ----------
    shot : Shot
    places : sequence of (float, float)
        Along and up, m, in order of time.
    label : str
    rise_along : float
        How much the ground rises downrange, no unit.
    """
    if shot.quality is Quality.REJECTED or len(places) < 2:
        return None
    rest: tuple[Point, ...] = ()
    if shot.landing_along_m is not None:
        rest = rest_of(places, shot.landing_along_m, rise_along)
    return Curve(shot.setup, label, tuple(places), rest)


def rest_of(
    places: Sequence[Point], landing_m: float, rise_along: float = 0.0
) -> tuple[Point, ...]:
    """Return the path from the last place to the landing; nothing where they coincide.

    Parameters
    ----------
    places : sequence of (float, float)
        Along and up, m, in order of time.
    landing_m : float
        Along.
    rise_along : float
        How much the ground rises downrange, no unit.
    """
    along, up = places[-1]
    ahead = landing_m - along
    if abs(ahead) < CLOSE_M:
        return ()
    first = places[max(0, len(places) - SLOPE_PLACES)]
    run = along - first[0]
    slope = (up - first[1]) / run if abs(run) > 1e-6 else 0.0
    bend = (rise_along * landing_m - up - slope * ahead) / ahead**2
    steps = [ahead * step / REST_POINTS for step in range(REST_POINTS + 1)]
    return tuple(
        (along + x, max(rise_along * (along + x), up + slope * x + bend * x * x)) for x in steps
    )
