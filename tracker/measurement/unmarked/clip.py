"""A clip whose camera is not known, from frames to measured shots."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import Site
from calibration.site.presumed import USUAL_AWAY_M, Presumption, Sighted
from tracker.detection import SearchSettings, settings_for
from tracker.fitting import circumstances_of
from tracker.fitting.parameters import CAMERA_ACROSS_AT
from tracker.flight.forces import Forces
from tracker.flight.gravity import STANDARD_GRAVITY
from tracker.measurement.circumstances import ClipRequest
from tracker.measurement.scouting import Scouted, scout, throws_of
from tracker.measurement.second_pass import Ahead, look_again
from tracker.measurement.sighting import Shutter
from tracker.measurement.unmarked.shot import Flight, first_fit, measure_flight
from tracker.records import Candidates, MeasuredShot, Reason, ReasonCode
from tracker.video import ClipFacts

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

NEAREST_M, FARTHEST_M = 5.0, 100.0
"""From how far a ball is filmed, to tell how slow a slow file may be."""

BEFORE_S, AFTER_S = 0.3, 1.2
"""How long before and after its path in the first pass a ball is looked for."""

NEAR_PX = 60.0
"""In a frame 1920 pixels wide, how far from the expected path candidates are kept."""


@dataclass(frozen=True)
class UnmarkedResult:
    """The shots of a clip, and what a person should know beside them.

    Attributes
    ----------
    shots : tuple of MeasuredShot
    notes : tuple of str
    camera : Camera
        As the best of the shots has it, or as presumed where there is none.
    """

    shots: tuple[MeasuredShot, ...]
    notes: tuple[str, ...]
    camera: Camera


def measure_unmarked(
    facts: ClipFacts,
    site: Site,
    request: ClipRequest,
    height_told: bool,
    progress: Progress | None = None,
) -> UnmarkedResult:
    """Find and measure every shot of a clip without a calibrated camera.

    A first pass joins what moves to paths and keeps those that fall as thrown things do; where
    there is any, a second pass looks at them again as closely as the scale allows that gravity
    gives.

    Parameters
    ----------
    facts : ClipFacts
    site : Site
        Whatever is known of the camera; too little to calibrate it.
    request : ClipRequest
    height_told : bool
        Whether the height of the release was measured.
    progress : callable, optional
        Called with the number of frames done and the number there are.

    Raises
    ------
    InputErrors
        For values of the site that cannot be.
    """
    presumed = _presumed(site, request)
    scouted = scout(facts, presumed, progress)
    circumstances = circumstances_of(presumed, request)
    fps = facts.file_fps * facts.pace
    flights = [
        flight
        for throw in throws_of(scouted, facts.size_px[0])
        if (flight := first_fit(site, circumstances, height_told, throw, facts, fps)) is not None
    ]
    notes = [*facts.notes, *scouted.notes]
    found: list[tuple[MeasuredShot, Flight]] = []
    if flights:
        best = min(flights, key=_distance_u)
        look = _look(best, circumstances.forces, 1.0 / fps)
        gathered = _second_pass(facts, presumed, scouted, flights, look, progress)
        shutter = Shutter(circumstances, facts, look)
        for flight, candidates in zip(flights, gathered, strict=True):
            got = measure_flight(flight, shutter, request, candidates, 1.0 / fps, height_told)
            if got is not None:
                found.append(got)
    notes.extend(_notes(facts, scouted, bool(found), presumed))
    found.sort(key=lambda pair: pair[0].shot.release_s)
    shots = tuple(
        _finished(measured, number, scouted, facts)
        for number, (measured, _) in enumerate(found, start=1)
    )
    if found:
        presumed = min((flight for _, flight in found), key=_distance_u).camera
    return UnmarkedResult(shots, tuple(notes), presumed)


def _presumed(site: Site, request: ClipRequest) -> Camera:
    """Return a camera as it might have stood before anything is looked at."""
    side = -1 if site.position_m is None or site.position_m[1] < 0.0 else 1
    width, height = site.size_px
    middle = np.array([width / 2.0, height / 2.0])
    sighted = Sighted(side, USUAL_AWAY_M, np.asarray(request.release_m, float), middle)
    return Presumption(site, side).start(sighted)


def _distance_u(flight: Flight) -> float:
    """Return how well a flight knows its camera's distance, as a share of it."""
    covariance = flight.fit.fitted.covariance
    return float(
        np.sqrt(covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT]) / abs(flight.camera.position[1])
    )


def _look(flight: Flight, forces: Forces, frame_s: float) -> SearchSettings:
    known = flight.fit.circumstances
    look = settings_for(
        flight.camera,
        known.release_m,
        2.0 * known.ball_radius_m,
        known.drag,
        forces,
        frame_s,
    )
    width, height = flight.camera.size_px
    return replace(look, window=(0, 0, width, height))


def _second_pass(
    facts: ClipFacts,
    presumed: Camera,
    scouted: Scouted,
    flights: list[Flight],
    look: SearchSettings,
    progress: Progress | None,
) -> list[list[Candidates]]:
    """Pass through the clip again and keep what lies near each flight, closer looked at."""
    reach = NEAR_PX * max(1.0, presumed.size_px[0] / 1920.0)
    ahead = [
        Ahead(
            flight.throw.arc.times_s[0] - BEFORE_S,
            flight.throw.arc.times_s[-1] + AFTER_S,
            partial(_near, flight, reach),
        )
        for flight in flights
    ]
    gathered = look_again(facts, presumed, scouted, look, ahead, progress)
    return [
        [_as_turned(flight, presumed, candidates) for candidates in kept]
        for flight, kept in zip(flights, gathered, strict=True)
    ]


def _near(flight: Flight, reach: float, candidates: Candidates) -> NDArray[np.bool_]:
    """Tell which candidates are near a flight."""
    place = flight.path(np.array([candidates.time_s]))[0]
    with np.errstate(invalid="ignore"):
        near: NDArray[np.bool_] = np.linalg.norm(candidates.pixels - place, axis=1) < reach
    return near


def _as_turned(flight: Flight, presumed: Camera, candidates: Candidates) -> Candidates:
    """Return candidates with the camera's turn told as the fitted camera has it."""
    if candidates.turn_rad is None:
        return candidates
    # One shift in the picture is a greater turn for a shorter lens.
    zoom = presumed.focal_px / flight.camera.focal_px
    return replace(candidates, turn_rad=candidates.turn_rad * np.array([zoom, zoom, 1.0]))


def _finished(
    measured: MeasuredShot, number: int, scouted: Scouted, facts: ClipFacts
) -> MeasuredShot:
    """Number a shot, tell its release on the file's own clock, and add what is doubtful."""
    shot = measured.shot
    release_s = shot.release_s
    if scouted.repeats is not None:
        release_s = float(np.interp(release_s, scouted.base_s, facts.file_times_s))
    reasons = shot.reasons
    if scouted.doubt:
        reasons = (*reasons, Reason(ReasonCode.FRAME_TIMES))
    return replace(
        measured,
        shot=replace(shot, shot=number, release_s=release_s, reasons=reasons),
        points=tuple(replace(point, shot=number) for point in measured.points),
    )


def _notes(facts: ClipFacts, scouted: Scouted, any_shots: bool, presumed: Camera) -> list[str]:
    """Return what is to be said of the clip as a whole."""
    found = [scouted.doubt] if scouted.doubt else []
    if any_shots and facts.capture_fps is None:
        found.append(
            "Without any length, gravity cannot tell a file that plays slower than life from one "
            "filmed from farther away: this one is taken to play at life speed. If it is slow "
            "motion, write the true rate as capture_fps under [camera] of a session.toml."
        )
    if scouted.slow and not any_shots:
        fall = float(np.median([scouted.arcs[at].acceleration_pxps2[1] for at in scouted.slow]))
        away = presumed.focal_px * STANDARD_GRAVITY / fall
        least, most = np.sqrt(away / FARTHEST_M), np.sqrt(away / NEAREST_M)
        found.append(
            "Something falls through the picture so slowly that at life speed it would be "
            f"{away:.0f} m away. If that is the ball, the file plays {least:.0f} to {most:.0f} "
            "times slower than life: write the true frame rate as capture_fps under [camera] of "
            "a session.toml."
        )
    return found
