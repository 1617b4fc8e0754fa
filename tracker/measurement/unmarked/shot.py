"""One thrown ball to a row, where gravity is the only scale."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from calibration.site import Site
from calibration.site.presumed import Presumption, Sighted
from tracker.detection import SearchSettings
from tracker.fitting import Circumstances, Observations
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT
from tracker.fitting.untaped import (
    UntapedCircumstances,
    UntapedFit,
    first_launch,
    fit_untaped,
    prior_chi_square,
)
from tracker.following.arcs import Arc
from tracker.measurement.circumstances import ClipRequest, stage_of
from tracker.measurement.row import Sought, describe, quality_of
from tracker.measurement.scouting import Throw, bounce_of
from tracker.measurement.sighting import LOST_FRAMES, Course, Shutter, sighted, walked
from tracker.measurement.unmarked.words import end_reasons, scale_reasons
from tracker.records import Candidates, MeasuredShot, ReasonCode, Rejection, Track
from tracker.video import ClipFacts

Array = NDArray[np.float64]

USUAL_RELEASE_M, RELEASE_SD_M = 1.0, 0.5
"""Height of a release that nobody measured: 0.3 to 2 m. Common practice, no source."""

LATE_FRAMES, LATE_U_FRAMES, LATE_U_S = 0.7, 1.5, 0.008
"""How long before the first sight a ball was released, in frames, and how well that is known."""

MOST_UNLIKELY = 45.0
"""Squared distance from what was presumed (some twenty things) beyond which it is no throw."""

SPEEDS_MPS = (3.0, 70.0)
AWAY_M = (2.5, 250.0)
LEAST_USED = 8
AGREES = 4.0
BACK_S = 0.1

REPLACED = (ReasonCode.LANDING_NOT_SEEN, ReasonCode.SPEED_UNCERTAIN)
"""Reasons that a shot without markers has from its start or always."""


@dataclass(frozen=True)
class Flight:
    """A throw with its fit so far."""

    throw: Throw
    fit: UntapedFit
    presumption: Presumption

    @property
    def camera(self) -> Camera:
        """The camera that was fitted."""
        return self.fit.circumstances.camera.perturbed(self.fit.fitted.parameters[CAMERA_AT:])

    @property
    def release_s(self) -> float:
        """True time of release in the clip."""
        return float(self.fit.fitted.parameters[0])

    @property
    def launch(self) -> Array:
        """As fitted, shape (11,)."""
        return self.fit.fitted.parameters[1:12]

    def states(self, times_s: Array) -> Array:
        """Return place and speed at true times, shape (N, 6), on beyond the ground."""
        since = np.asarray(times_s, float) - self.release_s
        parameters = self.fit.fitted.parameters
        longest = float(max(since.max(initial=0.0), 0.1)) + 0.1
        flight = flight_of(self.fit.circumstances, parameters, longest, 0.04)
        states = flight.at(np.maximum(since, 0.0))
        early = np.minimum(since, 0.0)[:, None]
        # Before the release the path is carried straight on: only the last frames matter.
        states[:, :3] += early * states[:, 3:6]
        return states

    def path(self, times_s: Array) -> Array:
        """Return the pixels at true times, shape (N, 2)."""
        return self.camera.project(self.states(times_s)[:, :3])


def first_fit(
    site: Site, known: Circumstances, height_told: bool, throw: Throw, facts: ClipFacts, fps: float
) -> Flight | None:
    """Fit a flight to the places of a path; None where no throw explains them."""
    arc = throw.arc
    flies_left = arc.velocity_pxps[0] < 0.0
    side = 1 if flies_left else -1
    if site.position_m is not None and site.position_m[1] * side < 0.0:
        return None
    presumption = Presumption(site, side)
    camera = presumption.start(_sight(site, known, arc, side))
    spread = (1.0 + 0.05 * float(np.linalg.norm(arc.velocity_pxps)) / fps) ** 2
    track = Track(
        arc.frames,
        arc.times_s,
        arc.pixels,
        np.repeat((spread * np.eye(2))[None], len(arc.frames), axis=0),
        np.zeros(len(arc.frames)),
    )
    loose = loosened(known, camera, height_told, float(arc.times_s[0]), 1.0 / fps)
    share = Shutter(known, facts, _NO_LOOK).row_share(track.pixels)
    try:
        launch = first_launch(loose, track, loose.began_s)
        fit = fit_untaped(
            loose, presumption.around, Observations(track, share), loose.began_s, launch
        )
    except (NotDetermined, np.linalg.LinAlgError):
        return None
    flight = Flight(throw, fit, presumption)
    return flight if _is_likely(flight) else None


_NO_LOOK = SearchSettings(4.0, 10.0, 1, (0, 0, 1, 1))


def loosened(
    known: Circumstances, camera: Camera, height_told: bool, first_s: float, frame_s: float
) -> UntapedCircumstances:
    """Return what is known of a shot, with the release as the path's beginning."""
    release = known.release_m.copy()
    each = np.full(3, known.release_u_m)
    if not height_told:
        release[2], each[2] = USUAL_RELEASE_M, RELEASE_SD_M
    names = [name for name in Circumstances.__dataclass_fields__ if name != "camera"]
    return UntapedCircumstances(
        camera=camera,
        **{**{name: getattr(known, name) for name in names}, "release_m": release},
        release_each_u_m=each,
        began_s=first_s - LATE_FRAMES * frame_s,
        began_u_s=float(np.hypot(LATE_U_FRAMES * frame_s, LATE_U_S)),
    )


def _sight(site: Site, known: Circumstances, arc: Arc, side: int) -> Sighted:
    focal = site.size_px[0] / 2.0 / np.tan(np.radians((site.field_of_view_deg or 65.0) / 2.0))
    if site.lens is not None:
        focal = site.lens.focal_px
    away = focal * known.forces.gravity_mps2 / float(arc.acceleration_pxps2[1])
    return Sighted(side, float(np.clip(away, 4.0, 200.0)), known.release_m, arc.pixels[0])


def _is_likely(flight: Flight) -> bool:
    """Tell whether a fit is a throw that a person could have filmed."""
    fitted, camera = flight.fit.fitted, flight.camera
    speed = float(np.linalg.norm(flight.launch[3:6]))
    return bool(
        np.sum(fitted.used) >= max(LEAST_USED, 0.7 * len(fitted.used))
        and SPEEDS_MPS[0] < speed < SPEEDS_MPS[1]
        and AWAY_M[0] < abs(camera.position[1]) < AWAY_M[1]
        and prior_chi_square(flight.fit) < MOST_UNLIKELY
        and fitted.scale < AGREES
        and flight.launch[3] > 0.0
    )


def measure_flight(
    flight: Flight,
    shutter: Shutter,
    request: ClipRequest,
    candidates: list[Candidates],
    frame_s: float,
    height_told: bool,
) -> tuple[MeasuredShot, Flight] | None:
    """Measure the ball's picture along a flight and fit it anew; None when nothing comes of it.

    Parameters
    ----------
    flight : Flight
    shutter : Shutter
    request : ClipRequest
    candidates : list of Candidates
        Of the second pass, near the flight.
    frame_s : float
        True time from one frame to the next.
    height_told : bool
        Whether the release's height was measured.
    """
    exposure: float | None = None
    ends = _Ends(float(flight.throw.arc.times_s[0]), float(flight.throw.arc.times_s[-1]))
    for _ in range(2):
        found = _looked_at(flight, shutter, candidates, frame_s, exposure, ends)
        if found is None:
            return None
        track, exposure, ends = found
        bounce = _bounce(flight, ends, frame_s)
        if bounce is not None:
            kept = track.times_s < bounce[0] + 0.25 * frame_s
            track = _part(track, kept)
        if len(track.frames) < LEAST_USED:
            return None
        fitted = _refit(flight, shutter, track, frame_s, height_told, bounce)
        if fitted is None or not _is_likely(fitted):
            return None
        flight = fitted
    landing_seen = bounce is not None and flight.throw.hop is not None
    row = _row(flight, shutter, request, track, candidates, frame_s, landing_seen)
    return None if row is None else (row, flight)


@dataclass(frozen=True)
class _Ends:
    """When a flight was first and last seen, and whether it was lost inside the frame."""

    first_s: float
    last_s: float
    lost: bool = False


def _looked_at(
    flight: Flight,
    shutter: Shutter,
    candidates: list[Candidates],
    frame_s: float,
    exposure: float | None,
    ends: _Ends,
) -> tuple[Track, float | None, _Ends] | None:
    """Measure the ball in every frame of a flight, and walk outward while it is there."""
    times = np.array([each.time_s for each in candidates])
    latest = ends.last_s + 1.0
    near = (times >= ends.first_s - BACK_S) & (times <= latest)
    shown = [each for each, is_near in zip(candidates, near, strict=True) if is_near]
    if len(shown) < LEAST_USED:
        return None
    times = times[near]
    states = flight.states(times)
    camera = flight.camera
    pixels = camera.project(states[:, :3])
    width, height = camera.size_px
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels > 1) & (pixels < (width - 2, height - 2)), axis=1)
    shown = [each for each, is_in in zip(shown, inside, strict=True) if is_in]
    times, states, pixels = times[inside], states[inside], pixels[inside]
    stage = stage_of(flight.fit.circumstances, frame_s, camera)
    track, exposure = sighted(stage, shutter, Course(times, states, pixels), shown, exposure)
    if len(track.frames) < LEAST_USED:
        return None
    off = np.linalg.norm(track.pixels - flight.path(track.times_s), axis=1)
    spread = np.sqrt(np.trace(track.covariances, axis1=1, axis2=2) / 2.0)
    way = np.linalg.norm(np.gradient(pixels, axis=0), axis=1).mean() if len(pixels) > 2 else 5.0
    agrees = off < AGREES * np.hypot(spread, 0.6 + 0.04 * way)
    by_frame = dict(zip(track.frames.tolist(), agrees.tolist(), strict=True))
    order = [each.frame for each in shown]
    first = walked(order, times, by_frame, ends.first_s, forward=False)
    last = walked(order, times, by_frame, ends.last_s, forward=True)
    kept = (track.times_s >= first - 1e-9) & (track.times_s <= last + 1e-9)
    after = np.sum(times > last + 1e-9)
    return _part(track, kept), exposure, _Ends(first, last, lost=bool(after >= LOST_FRAMES))


def _bounce(flight: Flight, ends: _Ends, frame_s: float) -> tuple[float, float] | None:
    """Return when the ball came down and how well that is known, where the clip tells."""
    if flight.throw.hop is not None:
        return bounce_of(flight.throw, flight.path, frame_s)
    if not ends.lost:
        return None
    # Lost inside the frame, low and falling: in the grass, as far as what is known allows that.
    state = flight.states(np.array([ends.last_s]))[0]
    u = np.sqrt(flight.fit.fitted.covariance[3, 3])
    low = state[2] - flight.fit.circumstances.ball_radius_m < 0.4 + 1.5 * float(u)
    if not (low and state[5] < -1.0):
        return None
    return ends.last_s + frame_s, max(1.5 * frame_s, 0.03)


def _refit(
    flight: Flight,
    shutter: Shutter,
    track: Track,
    frame_s: float,
    height_told: bool,
    landed_s: tuple[float, float] | None,
) -> Flight | None:
    known = loosened(
        shutter.circumstances, flight.camera, height_told, float(track.times_s[0]), frame_s
    )
    share = shutter.row_share(track.pixels)
    try:
        fit = fit_untaped(
            known,
            flight.presumption.around,
            Observations(track, share, landed_s),
            flight.release_s,
            flight.launch,
        )
    except (NotDetermined, np.linalg.LinAlgError):
        return None
    return replace(flight, fit=fit)


def _part(track: Track, kept: NDArray[np.bool_]) -> Track:
    return Track(
        track.frames[kept],
        track.times_s[kept],
        track.pixels[kept],
        track.covariances[kept],
        track.lean[kept],
    )


def _row(
    flight: Flight,
    shutter: Shutter,
    request: ClipRequest,
    track: Track,
    candidates: list[Candidates],
    frame_s: float,
    landing_seen: bool,
) -> MeasuredShot | None:
    """Return a fitted flight as its row, with its scale in words; None when it is no ball's."""
    times = np.array([each.time_s for each in candidates])
    first, last = track.times_s[0], track.times_s[-1]
    sought = Sought(
        clip=request.clip,
        setup=request.setup,
        pace=shutter.facts.pace,
        frame_s=frame_s,
        in_view=int(np.sum((times >= first - 1e-9) & (times <= last + 1e-9))),
    )
    circumstances, fitted = flight.fit.circumstances, flight.fit.fitted
    try:
        measured = describe(circumstances, sought, track, fitted)
    except Rejection:
        return None
    reasons = (
        *scale_reasons(flight.fit, flight.presumption.site),
        *end_reasons(track, circumstances.camera.size_px, landing_seen),
        *(each for each in measured.shot.reasons if each.code not in REPLACED),
    )
    shot = replace(
        measured.shot,
        landing_seen=landing_seen,
        quality=quality_of(reasons),
        reasons=reasons,
    )
    return replace(measured, shot=shot)
