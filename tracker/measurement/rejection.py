"""What becomes of flights that were found and are no measured shots."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.records import (
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
"""A shot whose positions lie this near to a far better one's path borrowed them from it."""

SAME_PX = 3.0
"""Two balls in one frame are hardly ever this near to one another."""

SURE_SUPPORT = 120.0
SURE_SHARE = 0.5
"""A flight that was turned down is still told as a row, `rejected`, when it has this log-likelihood
ratio, four times and more what a flight needs, and this share of the frames that it crossed:
then a person should look at it. What walks, flies or rolls bears out far less of a flight."""

MOST_TOLD = 40
"""Of flights that were turned down the strongest of a clip are told."""


def sorted_out(
    measured: list[MeasuredShot], refused: list[RejectedCandidate], setup: str
) -> tuple[list[MeasuredShot], list[RejectedCandidate]]:
    """Return the rows of a clip in order of time, and what was turned down, each with its reason.

    Parameters
    ----------
    measured : list of MeasuredShot
    refused : list of RejectedCandidate
    setup : str
        For the rows of quality `rejected`.
    """
    shots, shadows = _without_shadows(measured)
    rows, rest = list(shots), list(shadows)
    for each in sorted(refused, key=lambda each: -each.support):
        owner = next((shot for shot in shots if _runs_along(each, shot)), None)
        if owner is not None:
            same = Reason(ReasonCode.SAME_DETECTIONS, {"release_s": owner.shot.release_s})
            each = replace(each, reasons=(*each.reasons, same))
        elif (
            each.support >= SURE_SUPPORT
            and each.frames_seen >= SURE_SHARE * each.frames_crossed
            and not any(_same_flight(each, row) for row in rows if row.path is None)
        ):
            rows.append(rejected(each, setup))
        rest.append(each)
    told = sorted(rest, key=lambda each: -each.support)[:MOST_TOLD]
    return (
        sorted(rows, key=lambda row: row.shot.release_s),
        sorted(told, key=lambda each: each.release_s),
    )


def rejected(refused: RejectedCandidate, setup: str) -> MeasuredShot:
    """Return the row of a shot that must have been there and could not be measured."""
    nothing = dict.fromkeys(_FIGURES)
    return MeasuredShot(
        Shot(
            clip=refused.clip,
            setup=setup,
            shot=0,
            release_s=refused.release_s,
            frames_seen=refused.frames_seen,
            landing_seen=False,
            quality=Quality.REJECTED,
            reasons=(Reason(ReasonCode.NOT_MEASURED), *refused.reasons),
            **nothing,
        )
    )


_FIGURES = tuple(name for name, kind in Shot.__annotations__.items() if kind == float | None)


def _same_flight(refused: RejectedCandidate, row: MeasuredShot) -> bool:
    """Tell whether a rejected row was already made of a flight released at that time."""
    return abs(refused.release_s - row.shot.release_s) < 0.3


def _runs_along(refused: RejectedCandidate, shot: MeasuredShot) -> bool:
    """Tell whether a flight that was turned down lies along a measured shot's path."""
    shown = np.isfinite(refused.pixels).all(axis=1)
    return _near(shot, refused.times_s[shown], refused.pixels[shown]) > 0.25


def _without_shadows(
    shots: list[MeasuredShot],
) -> tuple[list[MeasuredShot], list[RejectedCandidate]]:
    """Leave out what is only a bad fit to some of another shot's pictures, or that shot again."""
    kept, shadows = [], []
    for number, shot in enumerate(shots):
        owner = next((one for one in shots if one is not shot and _is_shadow(shot, one)), None)
        code = ReasonCode.BORROWED_POSITIONS
        if owner is None:
            # Of two alike the one that was seen more often stays, else the first.
            better = [one for one in shots if one.shot.frames_seen > shot.shot.frames_seen]
            better += [
                one for one in shots[:number] if one.shot.frames_seen == shot.shot.frames_seen
            ]
            owner = next((one for one in better if is_again(shot, one)), None)
            code = ReasonCode.DUPLICATE
        if owner is None:
            kept.append(shot)
        elif shot.path is not None:
            shadows.append(no_shot_of_its_own(shot, shot.path, code, owner))
    return kept, shadows


def no_shot_of_its_own(
    shot: MeasuredShot, path: FlightPath, code: ReasonCode, owner: MeasuredShot
) -> RejectedCandidate:
    """Return a measured shot that is part of another, with the reason."""
    return RejectedCandidate(
        clip=shot.shot.clip,
        release_s=shot.shot.release_s,
        support=0.0,
        frames_seen=shot.shot.frames_seen,
        frames_crossed=len(shot.points),
        reasons=(Reason(code, {"release_s": owner.shot.release_s}),),
        times_s=path.times_s,
        pixels=path.pixels,
    )


def _is_shadow(shot: MeasuredShot, other: MeasuredShot) -> bool:
    if other.shot.frames_seen < 2 * shot.shot.frames_seen:
        return False
    seen = [point for point in shot.points if point.used]
    times = np.array([point.time_s for point in seen])
    pixels = np.array([(point.column_px, point.row_px) for point in seen]).reshape(-1, 2)
    return _near(other, times, pixels) > 0.5


def is_again(shot: MeasuredShot, other: MeasuredShot) -> bool:
    """Tell whether most of a shot's positions are another's, in the very same frames."""
    theirs = {point.frame: point for point in other.points if point.used}
    mine = [point for point in shot.points if point.used]
    same = sum(
        point.frame in theirs
        and abs(point.column_px - theirs[point.frame].column_px) < SAME_PX
        and abs(point.row_px - theirs[point.frame].row_px) < SAME_PX
        for point in mine
    )
    return same > 0.5 * len(mine)


def _near(shot: MeasuredShot, times_s: Array, pixels: Array) -> float:
    """Return the share of places that lie near a shot's path at their times."""
    if shot.path is None or not len(times_s):
        return 0.0
    path = shot.path
    inside = (times_s >= path.times_s[0]) & (times_s <= path.times_s[-1])
    along = np.column_stack(
        [np.interp(times_s, path.times_s, path.pixels[:, axis]) for axis in (0, 1)]
    )
    near = inside & (np.linalg.norm(pixels - along, axis=1) < SHADOW_PX)
    return float(np.mean(near))
