"""Balls that are seen near, measured in pictures made so small that they are a few pixels wide.

A large ball shows its seam, its patches and its shade; a disc of one brightness describes it badly,
and its cutouts take time and memory. In smaller pictures it is what the other rooms measure.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.markers import Marker, Plumb
from calibration.site import Site
from tracker.fitting import circumstances_of
from tracker.following.arcs import Arc
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.passes import Observers
from tracker.measurement.scouted_sizes import NEAR_MOST_SHARE, scouting_settings
from tracker.measurement.scouting import Scouted
from tracker.measurement.selection import is_again, part_of_another
from tracker.measurement.starts.gravity_scale import expected_focal_px
from tracker.measurement.starts.runs_on import lasting
from tracker.measurement.starts.thrown import measure_throws, rejected_throw
from tracker.measurement.starts.untaped import UntapedMeasurement, distance_u
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode, RejectedCandidate

Array = NDArray[np.float64]

NEAR_PX = 12.0
"""Diameter from which a ball is measured in smaller pictures, px: as many as its seam needs to
show."""

MEASURED_PX = 4.0
"""Least diameter that it has in them, px."""

TIMES = (3, 4, 6, 8, 12, 16, 24)
"""Numbers of times that pictures are made smaller: each takes a pass of its own."""

BEYOND_MOST = 1.5
"""Ratio of the diameter that gravity gives to the largest that is looked for above which a ball is
too close: gravity gives it within a factor."""


@dataclass(frozen=True)
class Smaller:
    """Pictures of another size, and the way there and back.

    Attributes
    ----------
    size_px, small_px : tuple of int
        Width and height of the frames as shown, and of the smaller ones.
    """

    size_px: tuple[int, int]
    small_px: tuple[int, int]

    @property
    def factor(self) -> Array:
        """Smaller over larger, across and down."""
        return np.asarray(np.array(self.small_px, float) / np.array(self.size_px, float))

    def pixels(self, pixels: Array) -> Array:
        """Return places in the smaller pictures."""
        return np.asarray((pixels + 0.5) * self.factor - 0.5, float)

    def enlarged(self, pixels: Array) -> Array:
        """Return places in the frames as shown."""
        return np.asarray((pixels + 0.5) / self.factor - 0.5, float)

    def arc(self, arc: Arc) -> Arc:
        """Return a path in the smaller pictures."""
        by = float(self.factor.mean())
        return replace(
            arc,
            pixels=self.pixels(arc.pixels),
            scatter_px=by * arc.scatter_px,
            acceleration_pxps2=self.factor * arc.acceleration_pxps2,
            acceleration_u_pxps2=by * arc.acceleration_u_pxps2,
            velocity_pxps=self.factor * arc.velocity_pxps,
        )

    def throw(self, throw: Throw) -> Throw:
        """Return a throw in the smaller pictures."""
        return Throw(self.arc(throw.arc), None if throw.hop is None else self.arc(throw.hop))

    def site(self, site: Site) -> Site:
        """Return what is known of the camera, in the smaller pictures' pixels."""
        by = float(self.factor.mean())

        def marker(each: Marker) -> Marker:
            pixel = None if each.pixel is None else self.pixels(each.pixel)
            return replace(each, pixel=pixel, pixel_u=by * each.pixel_u)

        def plumb(each: Plumb) -> Plumb:
            ends = self.pixels(each.lower_px), self.pixels(each.upper_px)
            return replace(each, lower_px=ends[0], upper_px=ends[1], pixel_u=by * each.pixel_u)

        markers, plumbs = map(marker, site.markers), map(plumb, site.plumbs)
        return replace(site, size_px=self.small_px, markers=tuple(markers), plumbs=tuple(plumbs))

    def row(self, found: FittedShot) -> FittedShot:
        """Return a row with all its places in the frames as shown."""
        across, down = 1.0 / self.factor
        points = []
        for each in found.points:
            column, row = self.enlarged(np.array([each.column_px, each.row_px])).tolist()
            points.append(
                replace(
                    each,
                    column_px=column,
                    row_px=row,
                    residual_column_px=across * each.residual_column_px,
                    residual_row_px=down * each.residual_row_px,
                )
            )
        path = found.path
        if path is not None:
            path = replace(
                path,
                pixels=self.enlarged(path.pixels),
                release_px=self.enlarged(path.release_px),
                apex_px=self.enlarged(path.apex_px),
                landing_px=self.enlarged(path.landing_px),
            )
        # What it was made from stands in other pixels: it cannot be made again from the frames.
        return replace(found, points=tuple(points), path=path, basis=None)

    def rejected(self, found: RejectedCandidate) -> RejectedCandidate:
        """Return a rejected candidate with its places in the frames as shown."""
        return replace(found, pixels=self.enlarged(found.pixels))


def diameter_px(arc: Arc, context: ClipContext) -> float:
    """Return how large a ball is in the frame that falls along a path as gravity has it."""
    known = context.circumstances
    fall = float(arc.acceleration_pxps2[1]) / known.forces.gravity_mps2
    return 2.0 * known.ball_radius_m * fall


def by_size(
    throws: Sequence[Throw], context: ClipContext
) -> tuple[list[Throw], Mapping[int, list[Throw]]]:
    """Return the throws to be measured in the frames as they are, and those in smaller pictures.

    The latter stand under the number of times that their pictures are made smaller.
    """
    far: list[Throw] = []
    near: dict[int, list[Throw]] = {}
    for throw in throws:
        size = diameter_px(throw.arc, context)
        if size < NEAR_PX:
            far.append(throw)
        else:
            times = max(each for each in TIMES if each * MEASURED_PX <= size)
            near.setdefault(times, []).append(throw)
    return far, near


@dataclass
class NearMeasurement:
    """Measures throws that are seen near.

    Attributes
    ----------
    start : UntapedStart
    context : ClipContext
    scouted : Scouted
    cameras : list of Camera
        Afterwards: those of the flights that made a row.
    """

    start: UntapedStart
    context: ClipContext
    scouted: Scouted
    cameras: list[Camera] = field(default_factory=list)

    def measured(
        self, throws: Sequence[Throw], times: int, observers: Observers
    ) -> list[FittedShot | RejectedCandidate]:
        """Measure throws in pictures made so many times smaller."""
        facts = self.context.facts
        small_px = (round(facts.size_px[0] / times), round(facts.size_px[1] / times))
        smaller = Smaller(facts.size_px, small_px)
        most_px = NEAR_MOST_SHARE * facts.size_px[0]
        size = diameter_px(throws[0].arc, self.context)
        if size > BEYOND_MOST * most_px:
            reason = Reason(ReasonCode.TOO_CLOSE, {"diameter_px": size, "most_px": most_px})
            return [
                rejected_throw(each, self.context, self.scouted.frame_s, reason) for each in throws
            ]
        small_facts = facts.shrunk(small_px)
        request = self.context.request
        camera = self.context.camera.resized(small_px)
        known = circumstances_of(camera, request, self.context.frame_s)
        look, presumed = scouting_settings(small_facts), self.context.clock_presumed
        context = ClipContext(small_facts, request, known, look, clock_presumed=presumed)
        site = smaller.site(self.start.site)
        # Its size and its fall agree on how far away it is, for the focal length that is expected.
        away_m = expected_focal_px(site) * 2.0 * known.ball_radius_m / (size / times)
        start = UntapedStart(site, self.start.height_known, away_m)
        measurement = UntapedMeasurement(start, context, own_lag=True)
        # The hand that throws it shows too, and leads into the fall: only what lasts is a bird's.
        lasts = lasting(self.scouted).arcs
        scouted = replace(self.scouted, arcs=tuple(map(smaller.arc, lasts)))
        found = measure_throws(
            [smaller.throw(each) for each in throws], measurement, context, scouted, observers
        )
        best = sorted(measurement.measured, key=distance_u)
        self.cameras += [each.camera.resized(facts.size_px) for each in best]
        return [
            smaller.rejected(each) if isinstance(each, RejectedCandidate) else smaller.row(each)
            for each in each_once(found)
        ]


def each_once(
    found: Sequence[FittedShot | RejectedCandidate],
) -> list[FittedShot | RejectedCandidate]:
    """Return rows and rejected candidates, with the rows of one flight but the fullest rejected.

    The edges and the patches of a ball that is near are two paths some pixels apart. In the smaller
    pictures, in which it is four pixels wide, they are one.
    """
    kept: list[FittedShot] = []
    others: list[FittedShot | RejectedCandidate] = []
    rows = [each for each in found if isinstance(each, FittedShot)]
    for row in sorted(rows, key=lambda each: -each.shot.frames_seen):
        owner = next((one for one in kept if is_again(row, one)), None)
        if owner is None or row.path is None:
            kept.append(row)
        else:
            others.append(part_of_another(row, row.path, ReasonCode.DUPLICATE, owner))
    return [*kept, *others, *(each for each in found if isinstance(each, RejectedCandidate))]
