"""A planned field from above as SVG paths, for a screen on which it is moved about.

One unit is a metre; a place's column is its along, its row is minus its across, so that left of the
firing line is up.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.report.vantage_plan import capsule, landing_outline, view_wedge
from tracker.vantage import ExpectedShots, Stand
from tracker.vantage.search import line_of_fire

Array = NDArray[np.float64]

ROOM_M = 6.0
"""Room around everything that is shown, m; a matter of looks."""

REACH_M = 400.0
"""Length of the view's sides, m: beyond every field."""

SAMPLES = 41
"""Points along the flight: a line seen from above hardly bends."""


@dataclass(frozen=True)
class PlanScene:
    """What is drawn of a planned field.

    Attributes
    ----------
    box : (float, float, float, float)
        Left, top, width and height that show everything.
    keep_out, in_view, flight, landing : str
        SVG path data: where nobody stands, what the frame shows, the expected flight, the 95 %
        region of the next landing.
    """

    box: tuple[float, float, float, float]
    keep_out: str
    in_view: str
    flight: str
    landing: str


def plan_scene(stand: Stand, shots: ExpectedShots, camera: Camera, clear_m: float) -> PlanScene:
    """Return a planned field from above.

    Parameters
    ----------
    stand : Stand
    shots : ExpectedShots
    camera : Camera
        As it is aimed.
    clear_m : float
        Distance from the line of fire within which nobody stands.
    """
    times = np.linspace(0.0, shots.flight.landing_s, SAMPLES)
    flight = shots.flight.states(times)[:, :2]
    outline = capsule(line_of_fire(stand, shots), clear_m)
    wedge = view_wedge(camera, REACH_M)
    places = np.array([marker.ground_m[:2] for marker in stand.site.markers]).reshape(-1, 2)
    every = np.concatenate([stand.position_m[None, :2], outline, flight, places])
    (left, bottom), (right, top) = every.min(axis=0) - ROOM_M, every.max(axis=0) + ROOM_M
    return PlanScene(
        box=(_metres(left), _metres(-top), _metres(right - left), _metres(top - bottom)),
        keep_out=_path(outline),
        in_view="" if wedge is None else _path(wedge) + "Z",
        flight=_path(flight),
        landing=_path(landing_outline(shots)),
    )


def _path(points: Array) -> str:
    shown = [f"{x:.2f} {-y:.2f}" for x, y in points if math.isfinite(x) and math.isfinite(y)]
    return "M" + "L".join(shown)


def _metres(value: float) -> float:
    return round(float(value), 2)
