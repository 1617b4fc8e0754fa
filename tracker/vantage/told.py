"""The whole job: a place to film from, forecast, judged, bettered and drawn."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calibration.errors import InputError
from tracker.flight.energy import harm
from tracker.report.rounding import with_uncertainty
from tracker.report.vantage_facts import Surroundings, Vantage
from tracker.report.vantage_picture import vantage_picture
from tracker.results import RESULTS
from tracker.results.files import put_in_place
from tracker.vantage.asked import CLEAR_M, Asked, read
from tracker.vantage.changes import changes
from tracker.vantage.expected import Shots
from tracker.vantage.forecast import forecast, judge
from tracker.vantage.planned import planned
from tracker.vantage.search import Limits, best_stand, firing_line, off_line
from tracker.vantage.stand import Stand

PICTURE = "vantage.png"
HOW_SURE = (
    "That nothing goes wrong. In eight drawn sessions what was then measured had 0.82 to 1.26 "
    "times the uncertainty that was foretold."
)
DRAWN = 161
"""Places along a flight that are joined by lines."""


@dataclass(frozen=True)
class Told:
    """What there is to say, and where it was drawn.

    Attributes
    ----------
    vantage : Vantage
    picture : Path or None
        None where nobody asked for one.
    """

    vantage: Vantage
    picture: Path | None


def foresee_vantage(asked: Asked) -> Told:
    """Say what can be had from a place to film from, or find the best one first.

    Parameters
    ----------
    asked : Asked

    Raises
    ------
    InputError, InputErrors
        For faults of the options and of the session, and where too little would be in view.
    """
    typed = read(asked)
    target = _picture_path(asked)
    plan = planned(asked, typed)
    stand, shots = plan.stand, plan.shots
    clear_m = CLEAR_M if asked.clear_m is None else asked.clear_m
    box, notes = None, [*plan.notes, HOW_SURE]
    if typed.box_m is not None:
        along, across, up = ((span[0], span[1]) for span in typed.box_m)
        limits = Limits(along, across, up, clear_m)
        stand, box = best_stand(stand, shots, limits, asked.of), (along, across)
        notes += limits.reached(stand.position_m)
    found = forecast(stand, shots)
    vantage = Vantage(
        place=_place(stand, found.camera.rotation[2], searched=box is not None),
        expectation=_expectation(shots, stand),
        quantity=asked.of,
        forecast=found,
        changes=changes(stand, shots, judge(stand, shots), asked.of),
        around=_around(stand, shots, clear_m, box),
        notes=tuple(notes),
        cautions=_cautions(stand, shots, clear_m),
    )
    if target is not None:
        put_in_place(target.parent, {target.name: vantage_picture(vantage)})
    return Told(vantage, target)


def _picture_path(asked: Asked) -> Path | None:
    if asked.to is not None:
        if asked.to.exists():
            raise InputError(
                "is there already", where=str(asked.to), remedy="give --to another name"
            )
        return asked.to
    if asked.session is None:
        return None
    folder = asked.session if asked.session.is_dir() else asked.session.parent
    return folder / RESULTS / PICTURE


def _place(stand: Stand, forward: np.ndarray, searched: bool) -> str:
    """Return where the camera stands and looks, as a sentence."""
    along, across, up = stand.position_m
    side = "left" if across > 0 else "right"
    heading = np.degrees(np.arctan2(forward[1], forward[0]))
    pitch = np.degrees(np.arctan2(forward[2], np.hypot(forward[0], forward[1])))
    width, height = stand.site.size_px
    lens = "with its lens file" if stand.site.lens is not None else ""
    if stand.site.field_of_view_deg is not None and not lens:
        lens = f"{stand.site.field_of_view_deg:.3g}° wide"
    film = f"{width} x {height}, {stand.fps:.4g} frames a second"
    # Where the middle of the frame meets the upright plane of the firing line.
    meets = ""
    if forward[1] * across < 0.0:
        share = -across / forward[1]
        at = stand.position_m + share * forward
        meets = f", at what is {at[2]:.1f} m above the line {at[0]:.1f} m along"
    return (
        f"{'Best place found' if searched else 'Camera'} at [{along:.1f}, {across:.1f}, {up:.1f}]"
        f" m: {abs(across):.1f} m to the {side} of the firing line, {along:.1f} m along, "
        f"{up:.1f} m up; {lens + ', ' if lens else ''}{film}. It looks "
        f"{abs(pitch):.1f}° {'up' if pitch >= 0 else 'down'} on a heading of {heading:.1f}° to the "
        f"line{meets}."
    )


def _expectation(shots: Shots, stand: Stand) -> str:
    value = shots.flight.figures.value
    reach = np.sqrt(np.diag(shots.landing_covariance))
    return (
        f"Expected: {with_uncertainty(shots.speed_mps.value, shots.speed_mps.u)} m/s at "
        f"{with_uncertainty(shots.angle_deg.value, shots.angle_deg.u)}°, ball "
        f"{stand.request.ball.name}; carry {with_uncertainty(value('carry_m'), float(reach[0]))} "
        f"m, apex {value('apex_m'):.1f} m, {value('flight_time_s'):.2f} s in the air."
    )


def _cautions(stand: Stand, shots: Shots, clear_m: float) -> tuple[str, ...]:
    found = []
    away = off_line(stand.position_m, firing_line(stand, shots))
    if away < clear_m:
        found.append(
            f"The camera would stand {away:.1f} m from the line of fire, nearer than {clear_m:g} "
            "m: leave it there alone, or stand farther off."
        )
    return (*found, *harm(stand.request.ball, shots.speed_mps.value))


def _around(
    stand: Stand,
    shots: Shots,
    clear_m: float,
    box: tuple[tuple[float, float], tuple[float, float]] | None,
) -> Surroundings:
    flights = (shots.flight, *shots.others)
    frames = np.arange(0.5 / stand.fps, shots.flight.landing_s, 1.0 / stand.fps)
    return Surroundings(
        fps=stand.fps,
        markers=tuple((marker.name, marker.ground_m) for marker in stand.site.markers),
        flights_m=tuple(
            flight.states(np.linspace(0.0, flight.landing_s, DRAWN))[:, :3] for flight in flights
        ),
        frames_m=shots.flight.states(frames)[:, :3],
        landing_m=shots.landing_m,
        landing_covariance=shots.landing_covariance,
        clear_m=clear_m,
        line_m=firing_line(stand, shots),
        box_m=box,
    )
