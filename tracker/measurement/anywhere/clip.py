"""A clip of a calibrated camera in which shots may start anywhere, from frames to rows."""

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from tracker.detection import settings_for
from tracker.fitting import circumstances_of
from tracker.following.arcs import Arc
from tracker.following.throws import trimmed_throw
from tracker.measurement.anywhere.rules import no_throw, rolls, together, without_hops
from tracker.measurement.anywhere.shot import Sight, look_along, measure_throw, rejected_candidate
from tracker.measurement.anywhere.start import Field, Flight, first_fit
from tracker.measurement.circumstances import ClipRequest
from tracker.measurement.clip import (
    ClipResult,
    doubted,
    measure_clip,
    numbered,
    on_file_clock,
    refused_on,
)
from tracker.measurement.rejection import sorted_out
from tracker.measurement.scouting import Scouted, scout, throws_of
from tracker.measurement.second_pass import Ahead, look_again
from tracker.measurement.sighting import Shutter
from tracker.records import Candidates, MeasuredShot, Quality, Reason, ReasonCode, RejectedCandidate
from tracker.video import ClipFacts

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

BEFORE_S, AFTER_S = 0.4, 1.0
"""How long before and after its path in the first pass a ball is looked for."""

NEAR_PX = 60.0
"""In a frame 1920 pixels wide, how far from the expected path candidates are kept."""

OWN_PX = 6.0
"""So near to a measured place a place of the first pass is the same ball's."""

NEAR_LANDING_M = 3.0
"""How far from where it comes down."""


def measure_anywhere(
    facts: ClipFacts,
    camera: Camera,
    request: ClipRequest,
    field: Field,
    progress: Progress | None = None,
    on_candidates: Callable[[Candidates], None] | None = None,
) -> ClipResult:
    """Find and measure every ball that is thrown through the air, wherever it starts.

    What starts at the release point is found as ever. Then a pass joins what moves to paths and
    keeps those that fall as thrown things do from where the calibration allows them to be; where
    there is any other, a last pass looks at them again, as closely as their distance allows.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        With the covariance of its calibration.
    request : ClipRequest
    field : Field
        Where shots may start.
    progress : callable, optional
        Called with the number of frames done and the number there are.
    on_candidates : callable, optional
        Called with the candidates of every frame, as the first pass has them.
    """
    usual = measure_clip(facts, camera, request, progress)
    known = circumstances_of(camera, request)
    frame_s = 1.0 / (facts.file_fps * facts.pace)
    look = settings_for(
        camera, known.release_m, request.ball.diameter_m, known.drag, known.forces, frame_s
    )
    scouted = scout(facts, camera, progress, on_candidates)
    good = [each for each in usual.shots if each.shot.quality is Quality.GOOD]
    flights, refused = _thrown(scouted, Shutter(known, facts, look), field, request, good)
    shots: list[MeasuredShot] = []
    if flights:
        look = look_along(flights, frame_s)
        shutter = Shutter(known, facts, look)
        ahead = [_ahead(flight) for flight in flights]
        gathered = look_again(facts, camera, scouted, look, ahead, progress)
        for flight, candidates in zip(flights, gathered, strict=True):
            got = measure_throw(flight, shutter, field, request, candidates, frame_s)
            if isinstance(got, RejectedCandidate):
                refused.append(got)
            else:
                shots.append(got)
    if scouted.repeats is not None:
        shots = [on_file_clock(each, scouted.base_s, facts) for each in shots]
        refused = [refused_on(each, scouted.base_s, facts) for each in refused]
    notes = list(usual.notes)
    if scouted.doubt:
        shots = [doubted(each) for each in shots]
    shots, hops = without_hops(together(list(usual.shots), shots, facts.pace))
    rows, rest = sorted_out(shots, [*usual.rejected_candidates, *refused, *hops], request.setup)
    return ClipResult(
        tuple(numbered(each, number) for number, each in enumerate(rows, start=1)),
        tuple(notes),
        tuple(rest),
    )


def _thrown(
    scouted: Scouted,
    shutter: Shutter,
    field: Field,
    request: ClipRequest,
    found: list[MeasuredShot],
) -> tuple[list[Flight], list[RejectedCandidate]]:
    """Return the paths that are flights through the air, and those that are not.

    Those of shots that were found already are left out of both.
    """
    flights: list[Flight] = []
    refused: list[RejectedCandidate] = []
    camera, every_s = shutter.circumstances.camera, scouted.frame_s
    for throw in throws_of(scouted, camera.size_px[0], trimmed_throw):
        if any(_is_of(throw.arc, shot) for shot in found):
            continue
        if rolls(throw.arc, camera, every_s):
            why = Reason(ReasonCode.ON_GROUND)
        else:
            began = Sight(float(throw.arc.times_s[0]), "inside").began(every_s)
            try:
                flight = first_fit(shutter, field, throw, began, every_s)
            except NotDetermined:
                why = Reason(ReasonCode.NO_FIT)
            else:
                found_why = no_throw(flight, field, float(request.release_m[2]), flight.first_s)
                if found_why is None:
                    flights.append(flight)
                    continue
                why = found_why
        refused.append(rejected_candidate(throw, request, shutter.facts.pace, every_s, why))
    return flights, refused


def _ahead(flight: Flight) -> Ahead:
    """Return when and where a flight is looked for in the second pass."""
    arc, camera = flight.throw.arc, flight.camera
    last = flight.states(arc.times_s[-1:])[0]
    foot = np.array([last[0], last[1], 0.0])
    landing = camera.project(np.vstack([foot, foot + np.array([0.0, 0.0, 1.0])]))
    about = NEAR_LANDING_M * float(np.linalg.norm(landing[1] - landing[0]))
    reach = NEAR_PX * max(1.0, camera.size_px[0] / 1920.0)
    return Ahead(
        float(arc.times_s[0]) - BEFORE_S,
        float(arc.times_s[-1]) + AFTER_S,
        partial(_near, flight, reach, landing[0], about),
    )


def _near(
    flight: Flight, reach: float, landing: Array, about: float, candidates: Candidates
) -> NDArray[np.bool_]:
    """Tell which candidates are near a flight or where it comes down."""
    place = flight.path(np.array([candidates.time_s]))[0]
    with np.errstate(invalid="ignore"):
        near: NDArray[np.bool_] = np.linalg.norm(candidates.pixels - place, axis=1) < reach
        near |= np.linalg.norm(candidates.pixels - landing, axis=1) < about
    return near


def _is_of(arc: Arc, shot: MeasuredShot) -> bool:
    """Tell whether most places of a path are those of a measured shot."""
    theirs = {point.frame: point for point in shot.points if point.used}
    same = [
        np.hypot(column - theirs[frame].column_px, row - theirs[frame].row_px) < OWN_PX
        for frame, (column, row) in zip(arc.frames.tolist(), arc.pixels.tolist(), strict=True)
        if frame in theirs
    ]
    return sum(same) > 0.5 * len(arc.frames)
