"""The shots that a person added to a clip by places of the ball."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from calibration.errors import InputError
from tracker.measurement.added import Pick, Picks, add_shot, shot_through
from tracker.measurement.fitted_shot import FittedShot, doubted, in_setup, numbered
from tracker.measurement.selection import is_again
from tracker.records import Quality, Reason, ReasonCode
from tracker.results import cache
from tracker.session import AddedShot
from tracker.workflow.clips import request_for
from tracker.workflow.jobs import Task
from tracker.workflow.measured import MeasuredClip

NO_SCALE = (
    "nothing in this clip fixes the camera, and no other shot was measured from which gravity "
    "gives the scale"
)
NO_SCALE_REMEDY = "tape one distance, or pick the markers"


def with_added(
    task: Task, clip: MeasuredClip, added: Sequence[AddedShot], quick: bool = False
) -> tuple[MeasuredClip, tuple[str, ...]]:
    """Return a measured clip with the shots that a person added to it, and notes on the others.

    Parameters
    ----------
    task : Task
        Of the clip.
    clip : MeasuredClip
    added : sequence of AddedShot
        Of any clips.
    quick : bool
        Whether shots that were not measured yet are fitted to their places alone, which takes no
        look at the clip.
    """
    shots, notes = list(clip.shots), []
    for one in added:
        if one.clip != clip.clip.file:
            continue
        try:
            shot = kept_or_measured(task, clip, one, quick)
        except InputError as error:
            notes += [f"{one.where}: {sentence}" for sentence in error.sentences()]
            continue
        twin = next((other for other in shots if is_again(shot, other)), None)
        if twin is None:
            shots.append(shot)
        else:
            notes.append(
                f"{one.where}: this ball is the shot released at {twin.shot.release_s:.2f} s, "
                "which was found; the addition is kept and changes nothing"
            )
    shots.sort(key=lambda shot: shot.shot.release_s)
    renumbered = tuple(numbered(shot, number) for number, shot in enumerate(shots, start=1))
    return replace(clip, shots=renumbered), tuple(notes)


def kept_or_measured(
    task: Task, clip: MeasuredClip, one: AddedShot, quick: bool = False
) -> FittedShot:
    """Return an added shot, measured once and then kept.

    Raises
    ------
    InputError
        Where no flight from the release passes through the places.
    """
    key = cache.key_of([task.key, "added", repr((one.places, one.px_u))])
    shot: FittedShot | None = cache.load(task.cache, key)
    if shot is None:
        shot = _measured(task, clip, one, shot_through if quick else add_shot)
        if not quick:
            cache.store(task.cache, key, shot)
    # The clip may have been said to show another setup since it was kept.
    shot = in_setup(shot, task.ready.clip.setup)
    row = shot.shot
    if one.setup is not None:
        row = replace(row, setup=one.setup)
    if one.reason:
        first = replace(row.reasons[0], words=one.reason)
        row = replace(row, reasons=(first, *row.reasons[1:]))
    return replace(shot, shot=row)


def _measured(
    task: Task, clip: MeasuredClip, one: AddedShot, measure: Callable[..., FittedShot]
) -> FittedShot:
    facts = task.ready.facts
    if clip.calibration is None and not any(shot.basis for shot in clip.shots):
        raise InputError(NO_SCALE, remedy=NO_SCALE_REMEDY)
    picks = Picks(tuple(Pick(facts.frame_at(at.time_s), at.pixel) for at in one.places), one.px_u)
    request = request_for(task.session, task.ready)
    shot = measure(facts, clip.camera, request, picks)
    for reason in request.doubts:
        shot = doubted(shot, reason)
    if clip.calibration is None:
        shot = _scaled_as(shot, clip)
    return shot


def _scaled_as(shot: FittedShot, clip: MeasuredClip) -> FittedShot:
    """Return a shot with the reasons that every shot of a clip without a calibration has."""
    codes = (ReasonCode.GRAVITY_IS_SCALE, ReasonCode.GRAVITY_IS_SCALE_FEW_MARKERS)
    known = (reason for each in clip.shots for reason in each.shot.reasons)
    scale: Reason | None = next((reason for reason in known if reason.code in codes), None)
    if scale is None:
        return shot
    row = shot.shot
    quality = Quality.CHECK if row.quality is Quality.GOOD else row.quality
    return replace(shot, shot=replace(row, quality=quality, reasons=(*row.reasons, scale)))
