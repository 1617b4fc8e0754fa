"""Which of the found flights become rows, and which stay rejected candidates."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.measurement.fitted_shot import FittedShot
from tracker.records import (
    FIGURE_OF_COLUMN,
    FlightPath,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Shot,
)

Array = NDArray[np.float64]

SHADOW_PX = 30.0
"""A shot whose positions lie this near to a far better one's path borrowed them from it, px."""

SHADOW_SHARE, ALONG_SHARE, FAR_BETTER = 0.5, 0.25, 2
"""Share of positions near another shot's path that makes a shot a shadow of it, and a rejected
candidate a part of it; how many times as many frames the other must have been seen in."""

SAME_PX = 3.0
"""Two balls in one frame are hardly ever this near to one another, px."""

SAME_SHARE = 0.5
"""Share of a shot's positions that are another's from which it is that shot again."""

SURE_SUPPORT = 120.0
SURE_SHARE = 0.5
"""A rejected candidate makes a row of quality `rejected` when it has this log-likelihood ratio,
four times and more what a flight needs, and was seen in this share of the frames that it crossed:
then a person should look at it. What walks, flies or rolls supports far less of a flight."""

SAME_RELEASE_S = 0.3
"""Rejected candidates released within this time are one flight, s."""

MOST_REJECTED = 40
"""Rejected candidates that are kept of a clip: those with the most support."""


def selected(
    measured: Sequence[FittedShot], rejected: Sequence[RejectedCandidate], setup: str
) -> tuple[list[FittedShot], list[RejectedCandidate]]:
    """Return the rows of a clip, and the rejected candidates, both in order of time.

    Parameters
    ----------
    measured : sequence of FittedShot
    rejected : sequence of RejectedCandidate
    setup : str
        For the rows of quality `rejected`.
    """
    shots, shadows = _without_shadows(measured)
    rows, rest = list(shots), list(shadows)
    for each in sorted(rejected, key=lambda each: -each.support):
        owner = next((shot for shot in shots if _runs_along(each, shot)), None)
        if owner is not None:
            same = Reason(ReasonCode.SAME_DETECTIONS, {"release_s": owner.shot.release_s})
            each = replace(each, reasons=(*each.reasons, same))
        elif (
            each.support >= SURE_SUPPORT
            and each.frames_seen >= SURE_SHARE * each.frames_crossed
            and not any(_same_flight(each, row) for row in rows if row.path is None)
        ):
            rows.append(rejected_row(each, setup))
        rest.append(each)
    kept = sorted(rest, key=lambda each: -each.support)[:MOST_REJECTED]
    return (
        sorted(rows, key=lambda row: row.shot.release_s),
        sorted(kept, key=lambda each: each.release_s),
    )


def rejected_row(candidate: RejectedCandidate, setup: str) -> FittedShot:
    """Return the row of a shot that must have been there and could not be measured."""
    with_u = {name: name.rsplit("_", 1) for name in FIGURE_OF_COLUMN}
    names = [*with_u, *(f"{stem}_u_{unit}" for stem, unit in with_u.values())]
    nothing = {name: None for name in names if name in Shot.__dataclass_fields__}
    return FittedShot(
        Shot(
            clip=candidate.clip,
            setup=setup,
            shot=0,
            release_s=candidate.release_s,
            frames_seen=candidate.frames_seen,
            landing_seen=False,
            quality=Quality.REJECTED,
            reasons=(Reason(ReasonCode.NOT_MEASURED), *candidate.reasons),
            **nothing,
        )
    )


def _same_flight(candidate: RejectedCandidate, row: MeasuredShot) -> bool:
    """Return whether a rejected row was already made of a flight released at that time."""
    return abs(candidate.release_s - row.shot.release_s) < SAME_RELEASE_S


def _runs_along(candidate: RejectedCandidate, shot: MeasuredShot) -> bool:
    """Return whether a rejected candidate lies along a measured shot's path."""
    shown = np.isfinite(candidate.pixels).all(axis=1)
    return _share_near(shot, candidate.times_s[shown], candidate.pixels[shown]) > ALONG_SHARE


def _without_shadows(
    shots: Sequence[FittedShot],
) -> tuple[list[FittedShot], list[RejectedCandidate]]:
    """Leave out bad fits to some of another shot's positions, and shots found twice."""
    kept: list[FittedShot] = []
    shadows: list[RejectedCandidate] = []
    for number, shot in enumerate(shots):
        owner = next((one for one in shots if one is not shot and is_shadow(shot, one)), None)
        code = ReasonCode.BORROWED_POSITIONS
        if owner is None:
            # Of two alike the one that was seen more often stays, else the first.
            seen = shot.shot.frames_seen
            better = [one for one in shots if one.shot.frames_seen > seen]
            better += [one for one in shots[:number] if one.shot.frames_seen == seen]
            owner = next((one for one in better if is_again(shot, one)), None)
            code = ReasonCode.DUPLICATE
        if owner is None:
            kept.append(shot)
        elif shot.path is not None:
            shadows.append(part_of_another(shot, shot.path, code, owner))
    return kept, shadows


def part_of_another(
    shot: MeasuredShot, path: FlightPath, code: ReasonCode, owner: MeasuredShot
) -> RejectedCandidate:
    """Return a measured shot that is part of another as a rejected candidate."""
    return as_candidate(shot, path, Reason(code, {"release_s": owner.shot.release_s}))


def as_candidate(shot: MeasuredShot, path: FlightPath, reason: Reason) -> RejectedCandidate:
    """Return a measured shot that is none as a rejected candidate."""
    return RejectedCandidate(
        clip=shot.shot.clip,
        release_s=shot.shot.release_s,
        support=0.0,
        frames_seen=shot.shot.frames_seen,
        frames_crossed=len(shot.points),
        reasons=(reason,),
        times_s=path.times_s,
        pixels=path.pixels,
    )


def is_shadow(shot: MeasuredShot, other: MeasuredShot) -> bool:
    """Return whether most of a shot's positions lie near the path of a far better one."""
    if other.shot.frames_seen < FAR_BETTER * shot.shot.frames_seen:
        return False
    seen = [point for point in shot.points if point.used]
    times = np.array([point.time_s for point in seen])
    pixels = np.array([(point.column_px, point.row_px) for point in seen]).reshape(-1, 2)
    return _share_near(other, times, pixels) > SHADOW_SHARE


def is_again(shot: MeasuredShot, other: MeasuredShot) -> bool:
    """Return whether most of a shot's positions are another's, in the very same frames."""
    theirs = {point.frame: point for point in other.points if point.used}
    mine = [point for point in shot.points if point.used]
    same = sum(
        point.frame in theirs
        and abs(point.column_px - theirs[point.frame].column_px) < SAME_PX
        and abs(point.row_px - theirs[point.frame].row_px) < SAME_PX
        for point in mine
    )
    return same > SAME_SHARE * len(mine)


def _share_near(shot: MeasuredShot, times_s: Array, pixels: Array) -> float:
    """Return the share of positions that lie near a shot's path at their times."""
    if shot.path is None or not len(times_s):
        return 0.0
    path = shot.path
    during = (times_s >= path.times_s[0]) & (times_s <= path.times_s[-1])
    along = np.column_stack(
        [np.interp(times_s, path.times_s, path.pixels[:, axis]) for axis in (0, 1)]
    )
    near = during & (np.linalg.norm(pixels - along, axis=1) < SHADOW_PX)
    return float(np.mean(near))
