"""Shots before a camera of which too little is known to calibrate it: gravity is the scale."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import Site
from calibration.site.observations import horizontal_view
from calibration.site.presumed import USUAL_AWAY_M, Presumption, Sighted
from tracker.fitting import circumstances_of
from tracker.measurement.context import ClipContext, frame_interval_s
from tracker.measurement.passes import Observers
from tracker.measurement.request import ClipRequest
from tracker.measurement.scouted_sizes import scouting_settings
from tracker.measurement.scouting import Scouted, scout
from tracker.measurement.starts.merging import hop_in_picture, midway_of, without_hops
from tracker.measurement.starts.near import NearMeasurement, by_size
from tracker.measurement.starts.no_throw import other_paths, why_no_throw
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.starts.runs_on import lasting
from tracker.measurement.starts.slow_files import on_clock_of, only_one, other_clocks
from tracker.measurement.starts.thrown import measure_throws
from tracker.measurement.starts.untaped import UntapedMeasurement, distance_u
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.throws import throws_of
from tracker.records import Reason, ReasonCode, Shot
from tracker.video import ClipFacts

Array = NDArray[np.float64]

FOCAL_AT = 6
"""Where the logarithm of the focal length stands among a camera's parameters."""

SHOWN_SHARE, LEAST_LOG_U = 0.5, 0.03
"""Share of its presumed uncertainty below which the motion of the background shows a focal length,
and the least standard uncertainty of its logarithm. From clips laid over real frames."""


@dataclass(frozen=True)
class PresumedCameraStart:
    """Shots begin at a release, seen by a camera that is only presumed.

    Attributes
    ----------
    site : Site
        Whatever is known of the camera; too little to calibrate it.
    height_known : bool
        Whether the height of the release was measured.
    """

    site: Site
    height_known: bool

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        """Find and measure the shots of a clip without a calibrated camera.

        A first pass joins what moves to paths and keeps those that fall as thrown things do; where
        there is any, a second pass looks at them again as closely as the scale allows that gravity
        gives. Where nothing flies at life speed, and something falls as in slow motion, the clip is
        looked at as it would play then.

        Raises
        ------
        InputErrors
            For values of the site that cannot be.
        """
        found, scouted = self._found(facts, request, observers)
        if found.shots or self.site.picked:
            return found
        clocks = other_clocks(facts, scouted)
        quiet = observers.progress_only
        only = only_one([(each, self._found(each, request, quiet, True)[0]) for each in clocks])
        return found if only is None else on_clock_of(facts, only[1], only[0])

    def _found(
        self, facts: ClipFacts, request: ClipRequest, observers: Observers, presumed: bool = False
    ) -> tuple[Findings, Scouted]:
        """Return what a clip shows at its pace, which may only be presumed, and the first pass."""
        camera = self._camera(request)
        known = circumstances_of(camera, request, frame_interval_s(facts))
        fall_per_diameter = known.forces.gravity_mps2 / (2.0 * known.ball_radius_m)
        # What was picked is known in the first view only.
        renews = not self.site.picked
        scouted = scout(facts, camera, observers, fall_per_diameter, renews)
        look = scouting_settings(facts)
        context = ClipContext(facts, request, known, look, clock_presumed=presumed)
        site, view = viewed_by(self.site, camera, scouted.refined)
        start = UntapedStart(site, self.height_known)
        measurement = UntapedMeasurement(start, context)
        found = Findings(camera, notes=[*scouted.notes, *view])
        throws = throws_of(scouted, facts.size_px[0])
        far, near = by_size(throws, context)
        judged_by = lasting(scouted) if start.release_in_frame else scouted
        found.sort(measure_throws(far, measurement, context, judged_by, observers))
        closer = NearMeasurement(start, context, scouted)
        for times, some in near.items():
            found.sort(closer.measured(some, times, observers))
        found.shots, again = without_hops(found.shots, midway_of, ReasonCode.DUPLICATE)
        found.shots, hops = without_hops(found.shots, hop_in_picture)
        found.rejected += [*again, *hops]
        if not found.shots:
            stated = self.site.position_m is not None
            found.causes = why_no_throw(found.rejected, context, scouted, stated)
        found.rejected += other_paths(throws, context, scouted)
        found.on_file_clock(scouted.timing, facts)
        found.doubt(*scouted.doubts)
        found.notes += _notes(context, scouted, bool(found.shots) and not self.site.picked)
        if measurement.measured:
            found.camera = min(measurement.measured, key=distance_u).camera
        elif closer.cameras:
            found.camera = closer.cameras[0]
        return found, scouted

    def causes_of_no_shot(
        self,
        facts: ClipFacts,
        request: ClipRequest,
        observers: Observers,
        rejected: Sequence[Shot] = (),
    ) -> tuple[Reason, ...]:
        """Return nothing: what was found says it already, and nothing else was written."""
        return ()

    def _camera(self, request: ClipRequest) -> Camera:
        """Return the camera that is presumed before a frame is looked at.

        Its lens has the covariance of all that is known: where it sways, the background shows it.
        """
        position = self.site.position_m
        side = -1 if position is None or position[1] < 0.0 else 1
        width, height = self.site.size_px
        middle = np.array([width / 2.0, height / 2.0])
        sighted = Sighted(side, USUAL_AWAY_M, np.asarray(request.release_m, float), middle)
        presumption = Presumption(self.site, side)
        return presumption.with_lens_covariance(presumption.start(sighted))


def viewed_by(site: Site, camera: Camera, refined: Camera | None) -> tuple[Site, list[str]]:
    """Return a site with the field of view that its background shows, and what to say of it.

    The site as it is where its lens is stated, or where no motion of the camera shows it.

    Parameters
    ----------
    site : Site
    camera : Camera
        As it was presumed.
    refined : Camera or None
        As the motion of its background has corrected it, with what is left of its covariance.
    """
    if refined is None or site.lens is not None or site.field_of_view_deg is not None:
        return site, []
    left, presumed = (
        float(np.sqrt(each.covariance[FOCAL_AT, FOCAL_AT])) for each in (refined, camera)
    )
    if left > SHOWN_SHARE * presumed:
        return site, []
    view_deg, by_camera = horizontal_view(refined)
    u_deg = np.degrees(abs(by_camera[FOCAL_AT]) * np.hypot(left, LEAST_LOG_U))
    shown = replace(
        site, field_of_view_deg=float(np.degrees(view_deg)), field_of_view_u_deg=float(u_deg)
    )
    said = (
        f"The background moves as before a lens with a field of view of "
        f"{shown.field_of_view_deg:.0f} ± {u_deg:.0f}°, which is taken instead of the usual one."
    )
    return shown, [said]


def _notes(context: ClipContext, scouted: Scouted, by_gravity: bool) -> list[str]:
    """Return what a person should know of the clip as a whole."""
    found = [scouted.doubt] if scouted.doubt else []
    if by_gravity and context.facts.capture_fps is None:
        found.append(
            "Without any length, gravity cannot distinguish a file that plays slower than life "
            "from one filmed from farther away: this one is assumed to play at life speed. If it "
            "is slow motion, give the true rate on the page Field, with --capture-fps, or as "
            "capture_fps under [camera] of a session.toml."
        )
    return found
