"""One thrown ball to a row, where gravity is the only scale."""

from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.site import Site
from calibration.site.presumed import Sighted
from tracker.fitting import Circumstances, Observations, figures_of
from tracker.fitting.parameters import VELOCITY_AT
from tracker.fitting.size_rows import size_rows
from tracker.fitting.untaped import UntapedFit, first_launch, fit_untaped
from tracker.following.arcs import Arc
from tracker.measurement.chance import LEAST_SUPPORT, support_against_chance
from tracker.measurement.context import ClipContext
from tracker.measurement.expectations import LEAST_EVIDENCE, Expectations
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.flight import Flight, first_track
from tracker.measurement.row import describe
from tracker.measurement.sighting import SAME_S, course_along, crossing_of
from tracker.measurement.starts.doubted_markers import loose_rows
from tracker.measurement.starts.ends import (
    LEAST_USED,
    Ends,
    enough,
    landing_of,
    seen_along,
)
from tracker.measurement.starts.goes_on import goes_on
from tracker.measurement.starts.hidden import hidden_before
from tracker.measurement.starts.scale_reasons import begins_faint, end_reasons, scale_reasons
from tracker.measurement.starts.seen_size import size_shows_ball, sizes_along
from tracker.measurement.starts.throw_rules import FULL_SHARE, MOST_SPEED_SHARE, hardly_seen
from tracker.measurement.starts.untaped_start import IN_VIEW, Hidden, UntapedStart, side_of
from tracker.measurement.throws import Throw
from tracker.measurement.visibility import (
    NEAR_PURITIES,
    PURITIES_BALL,
    Crossing,
    visibility_of,
)
from tracker.records import Candidates, Quality, Reason, ReasonCode, Rejection, Track

Array = NDArray[np.float64]

USUAL_VIEW_DEG, NEAREST_START_M, FARTHEST_START_M = 65.0, 0.5, 200.0
"""Horizontal field of view of a camera for which none is stated, degrees, and limits of the first
guess of its distance, m. Common practice, no source."""

FIRST_POSITIONS = 40
"""Most positions of a first fit. Those of the first pass lie on a grid and lag behind the ball by a
px or two for a second on end: more of them would bend wind and lens to that error. Foreign
clips."""

MOST_PRIOR_CHI_SQUARE, MOST_BARE_CHI_SQUARE = 45.0, 20.0
"""Chi-square of the departures from some twenty priors above which a path is no throw: its chance
is 0.1 %. Where nothing was taped a path determines eight numbers and strains no more of them: 1 %,
unless its width shows a ball."""

SPEEDS_MPS, AWAY_M = (2.0, 70.0), (0.2, 250.0)
"""Slowest and fastest throw, m/s, nearest and farthest camera, m. Common practice, no source; a
tennis ball as wide as a tenth of a usual frame is 0.5 m away, give or take the angle of view."""

LEAST_PART_MPS = 0.3
"""Slowest beginning of a path that is followed back, m/s: near the top of a toss a ball hardly
moves, and its release comes before."""

BACKWARD_U = 2.0
"""Standard uncertainties of the speed along the firing line beyond which a flight goes backward: of
a ball tossed straight up it may come out negative."""

LEAST_USED_SHARE, MOST_SCALE = 0.7, 4.0
"""Least share of its positions that a flight explains, and most ratio of their scatter to their
own uncertainty."""

BACK_ROUNDS = 6
"""Rounds in which a ball is followed back to its release, each by `BACK_S` at most."""

MOST_SPEED_U = 0.2
"""Largest relative standard uncertainty of the exit speed: positions that leave it more open may be
anything's. Four times the median of drawn shots at 24 frames a second."""

MOST_SIZE_CHI_SQUARE = 25.0
"""Chi-square of the widths that a ball is seen with, five at most, above which no ball of this size
falls so: its chance is 0.01 %."""

LEAST_LIKE_A_BALL = 20.0
"""Log-likelihood ratio of a ball against anything else that moves: no release, no field and no
camera support a flight here, and it shows no size. Drawn balls have 30 and more, the edge of a
foreign arm had 16."""

BEFORE_BOUNCE_FRAMES = 0.25
"""Positions up to this long after a bounce still count for the flight, in frames."""

BEYOND_U, BEYOND_S = 3.0, 0.15
"""A flight that is seen this long after it came down goes on below the ground: standard
uncertainties of its time of flight, and at least s."""


def first_fit(start: UntapedStart, context: ClipContext, throw: Throw) -> Flight:
    """Fit a flight and its camera to the positions of a path.

    Raises
    ------
    Rejection, NotDetermined
        Where no throw explains them.
    """
    arc, known, site = throw.arc, context.circumstances, start.site
    side = side_of(arc)
    if site.position_m is not None and site.position_m[1] * side < 0.0:
        raise Rejection(Reason(ReasonCode.WRONG_WAY))
    presumption = start.presumption(arc)
    camera = presumption.start(_first_look(site, known, arc))
    track = _thinned(first_track(throw, context.frame_s))
    wide = start.loosened(known, camera, float(arc.times_s[0]), context.frame_s)
    observed = Observations(track, context.row_share_of(track))
    launch = first_launch(wide, track, wide.began_s)
    loose = loose_rows(presumption)
    fit = fit_untaped(wide, presumption.rows, observed, wide.began_s, launch, loose)
    flight = Flight(throw, fit.circumstances, fit.fitted)
    _check(flight, start.bare)
    return flight


def _thinned(track: Track) -> Track:
    """Return a track with at most `FIRST_POSITIONS` of its positions, evenly spread."""
    every = -(-len(track.times_s) // FIRST_POSITIONS)
    return track.part(np.arange(len(track.times_s)) % every == 0)


def _first_look(site: Site, known: Circumstances, arc: Arc) -> Sighted:
    """Return how far away a path seems, from gravity in the frame."""
    away = expected_focal_px(site) * known.forces.gravity_mps2 / float(arc.acceleration_pxps2[1])
    away = float(np.clip(away, NEAREST_START_M, FARTHEST_START_M))
    return Sighted(side_of(arc), away, known.release_m, arc.pixels[0])


def expected_focal_px(site: Site) -> float:
    """Return the focal length that is known or usual, px."""
    if site.lens is not None:
        return float(site.lens.focal_px)
    view = np.radians(site.field_of_view_deg or USUAL_VIEW_DEG)
    return float(site.size_px[0] / 2.0 / np.tan(view / 2.0))


def _check(flight: Flight, bare: bool) -> None:
    """Raise `Rejection` for a fit that is no throw a person could have filmed."""
    fitted = flight.fitted
    count, used = len(fitted.used), int(np.sum(fitted.used))
    if used < max(LEAST_USED, LEAST_USED_SHARE * count):
        raise Rejection(Reason(ReasonCode.POSITIONS_DISAGREE, {"count": used, "crossed": count}))
    _check_speed(flight, LEAST_PART_MPS)
    away = abs(float(flight.camera.position[1]))
    if not AWAY_M[0] < away < AWAY_M[1]:
        raise Rejection(Reason(ReasonCode.DISTANCE_IMPLAUSIBLE, {"away_m": away}))
    if flight.prior_chi_square >= (MOST_BARE_CHI_SQUARE if bare else MOST_PRIOR_CHI_SQUARE):
        raise Rejection(Reason(ReasonCode.IMPLAUSIBLE))
    if fitted.scale >= MOST_SCALE:
        raise Rejection(Reason(ReasonCode.SCATTER_TOO_LARGE))
    along_u = float(np.sqrt(fitted.covariance[VELOCITY_AT.start, VELOCITY_AT.start]))
    if flight.launch[3] <= -BACKWARD_U * along_u:
        raise Rejection(Reason(ReasonCode.WRONG_WAY))


def _check_speed(flight: Flight, least_mps: float) -> None:
    speed = float(np.linalg.norm(flight.launch[3:6]))
    if not least_mps < speed < SPEEDS_MPS[1]:
        raise Rejection(Reason(ReasonCode.SPEED_IMPLAUSIBLE, {"speed_mps": speed}))


def measure_untaped(
    start: UntapedStart, flight: Flight, context: ClipContext, candidates: list[Candidates]
) -> tuple[FittedShot, Flight]:
    """Measure the ball's pictures along a flight, fit it anew and return its row.

    Parameters
    ----------
    start : UntapedStart
    flight : Flight
        As fitted to its path of the first pass.
    context : ClipContext
    candidates : list of Candidates
        Of the second pass, near the flight.

    Raises
    ------
    Rejection, NotDetermined
        When no shot comes of it.
    """
    flight, observed, ends = _followed(start, flight, context, candidates)
    _check_speed(flight, SPEEDS_MPS[0])
    track = observed.track
    spanned = [
        each
        for each in candidates
        if track.times_s[0] - SAME_S <= each.time_s <= track.times_s[-1] + SAME_S
    ]
    before_reasons = (
        *scale_reasons(UntapedFit(flight.known, flight.fitted), start.site),
        *end_reasons(track, flight.camera.size_px),
    )
    crossing = _crossing(flight, context, spanned, ends.exposure)
    purities, least = _likeness(start)
    visibility = visibility_of(track, flight.fitted.used, crossing, purities)
    _believe(flight, track, crossing, ends)
    _believe_ends(start, flight, track, candidates)
    traced = TracedFlight(observed, flight.fitted, len(spanned), visibility=visibility)
    landing_seen = _landing_seen(observed, flight)
    expectations = Expectations(most_speed_u=None, landing_seen=landing_seen, least_evidence=least)
    shot = describe(
        context.with_circumstances(flight.known),
        traced,
        expectations,
        before_reasons,
    )
    _believe_row(shot, traced, start)
    return shot, flight


def _landing_seen(observed: Observations, flight: Flight) -> bool:
    """Return whether the landing was seen: a hop shows it, a ball lost in the grass does not."""
    return observed.landed_s is not None and flight.throw.hop is not None


def _believe_row(shot: FittedShot, traced: TracedFlight, start: UntapedStart) -> None:
    """Raise `Rejection` for a row that is none, or in which too little flies as a ball does.

    Where nothing else speaks for a ball, what is to be checked of a taped shot is no shot, and a
    faint ball must be seen in a share of its frames. A path from a release that has its place in
    the frame is judged as a taped shot is.
    """
    if shot.shot.quality is Quality.REJECTED:
        raise Rejection(*shot.shot.reasons)
    sized = start.near_m is not None or traced.observed.sizes is not None
    most_u = MOST_SPEED_SHARE if start.bare and not sized else MOST_SPEED_U
    reason = hardly_seen(shot, traced, most_u, 0.0 if start.release_in_frame else FULL_SHARE)
    if reason is not None:
        raise Rejection(reason)
    if start.release_in_frame:
        return
    torn = [each for each in shot.shot.reasons if each.code is ReasonCode.INNOVATIONS]
    if torn:
        raise Rejection(*torn)


def _likeness(start: UntapedStart) -> tuple[tuple[float, float], float]:
    """Return how pure a ball's pictures are, and the least evidence for one.

    Of one that is seen near, size and fall agree on one distance, which no edge's do.
    """
    if start.near_m is None:
        return PURITIES_BALL, LEAST_LIKE_A_BALL
    return NEAR_PURITIES, LEAST_EVIDENCE


def _crossing(
    flight: Flight, context: ClipContext, frames: list[Candidates], exposure: float | None
) -> Crossing:
    """Return the frames that a flight crosses."""
    wide = context.with_circumstances(flight.known)
    shown, course = course_along(wide, flight, frames)
    return crossing_of(wide, flight.camera, shown, course, exposure)


def _believe(flight: Flight, track: Track, crossing: Crossing, ends: Ends) -> None:
    """Raise `Rejection` where chance explains a flight, or where it goes on below the ground."""
    fitted = flight.fitted
    support = support_against_chance(track, fitted.residuals_px, fitted.used, crossing)
    if support < LEAST_SUPPORT:
        numbers = {"support": support, "needed": LEAST_SUPPORT}
        raise Rejection(Reason(ReasonCode.POSITIONS_BY_CHANCE, numbers))
    if flight.throw.hop is not None:
        return
    figures = figures_of(flight.known, fitted.parameters)
    landed_s = flight.release_s + figures.value("flight_time_s")
    beyond_s = ends.last_s - landed_s
    u_s = figures.u(fitted.covariance)["flight_time_s"]
    if beyond_s > max(BEYOND_U * u_s, BEYOND_S):
        raise Rejection(Reason(ReasonCode.BEYOND_LANDING, {"beyond_s": beyond_s}))


def _believe_size(flight: Flight, observed: Observations) -> None:
    """Raise `Rejection` where a ball is wider or smaller than one that falls so."""
    if observed.sizes is None:
        return
    fitted = flight.fitted
    residuals, _ = size_rows(flight.known, fitted.parameters, fitted.trajectory, observed.sizes)
    off = float(np.sum(residuals**2))
    if off > MOST_SIZE_CHI_SQUARE:
        raise Rejection(Reason(ReasonCode.SIZE_DISAGREES))


def _believe_ends(
    start: UntapedStart, flight: Flight, track: Track, candidates: list[Candidates]
) -> None:
    """Raise `Rejection` where something goes on beyond a flight's ends as a bird does.

    A hop, or a size that agrees with the fall, shows a ball.
    """
    shown = start.near_m is not None or flight.throw.hop is not None or size_shows_ball(flight)
    if not shown and goes_on(track, flight.fitted.used, flight, candidates):
        raise Rejection(Reason(ReasonCode.RUNS_ON))


def _followed(
    start: UntapedStart, flight: Flight, context: ClipContext, candidates: list[Candidates]
) -> tuple[Flight, Observations, Ends]:
    """Measure the ball along a flight, back to where it is first seen.

    Where nothing was taped, how wide it is seen counts too, and is measured again at the end.
    """
    times = flight.throw.arc.times_s
    ends = Ends(float(times[0]), float(times[-1]), lost=False, exposure=None)
    if start.bare:
        flight = _sized(start, flight, context, candidates, ends)
    flight, observed, ends = _measured(start, flight, context, candidates, ends)
    # Positions beyond its ends may be something else's: then those within them stand.
    with suppress(Rejection):
        for _ in range(BACK_ROUNDS):
            began_s = ends.first_s
            flight, observed, ends = _measured(start, flight, context, candidates, ends)
            if ends.first_s >= began_s - SAME_S:
                break
    if start.bare:
        before = flight.sizes
        flight = _sized(start, flight, context, candidates, ends)
        if before is not None or flight.sizes is not None:
            whole = replace(ends, exposure=None)
            flight, observed, ends = _measured(start, flight, context, candidates, whole)
            _believe_size(flight, observed)
    return flight, observed, ends


def _measured(
    start: UntapedStart,
    flight: Flight,
    context: ClipContext,
    candidates: list[Candidates],
    ends: Ends,
) -> tuple[Flight, Observations, Ends]:
    """Measure the ball along a flight and fit the flight to it again."""
    observed, ends = seen_along(start.near_m is not None, flight, context, candidates, ends)
    landed_s = landing_of(flight, ends, context.frame_s)
    if landed_s is not None:
        before = observed.track.times_s < landed_s[0] + BEFORE_BOUNCE_FRAMES * context.frame_s
        observed = replace(observed.part(before), landed_s=landed_s)
    enough(len(observed.track.frames), len(candidates))
    observed = replace(observed, sizes=flight.sizes)
    hidden = IN_VIEW
    if start.bare:
        hidden = hidden_before(flight, context, candidates, observed.track, ends)
    flight = _refitted(start, flight, context, observed, hidden)
    # Of a clock that is presumed the width is what told it: it shows no ball once more.
    sure = size_shows_ball(flight) and not context.clock_presumed
    _check(flight, start.bare and not sure)
    return flight, observed, ends


def _sized(
    start: UntapedStart,
    flight: Flight,
    context: ClipContext,
    candidates: list[Candidates],
    ends: Ends,
) -> Flight:
    """Return a flight with how wide the ball is seen along it, for its next fits."""
    is_near = start.near_m is not None
    return replace(flight, sizes=sizes_along(is_near, flight, context, candidates, ends))


def _refitted(
    start: UntapedStart,
    flight: Flight,
    context: ClipContext,
    observed: Observations,
    hidden: Hidden,
) -> Flight:
    first_s, faint = float(observed.track.times_s[0]), begins_faint(observed.track)
    before, frame_s = context.circumstances, context.frame_s
    known = start.loosened(before, flight.camera, first_s, frame_s, faint, hidden)
    presumption = start.presumption(flight.throw.arc)
    try:
        fit = fit_untaped(
            known,
            presumption.rows,
            observed,
            flight.release_s,
            flight.launch,
            loose_rows(presumption),
        )
    except (NotDetermined, np.linalg.LinAlgError):
        raise Rejection(Reason(ReasonCode.NO_FIT)) from None
    return replace(flight, known=fit.circumstances, fitted=fit.fitted)
