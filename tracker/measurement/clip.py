"""One clip from frames to measured shots: the one entry of this room."""

from dataclasses import dataclass

import numpy as np

from calibration.camera import Camera
from tracker.measurement.fitted_shot import FittedShot, doubted, numbered
from tracker.measurement.passes import NO_OBSERVERS, Observers
from tracker.measurement.request import ClipRequest
from tracker.measurement.selection import selected
from tracker.measurement.starts.protocol import Start
from tracker.records import Quality, Reason, RejectedCandidate, sentence
from tracker.video import ClipFacts


@dataclass(frozen=True)
class ClipResult:
    """The shots of a clip.

    Attributes
    ----------
    shots : tuple of FittedShot
        In order of time; those of quality `rejected` have no figures.
    notes : tuple of str
        Sentences that a person should read.
    camera : Camera
        With which the shots are drawn.
    rejected_candidates : tuple of RejectedCandidate
        Flights that were candidates and are no shots, in order of time.
    causes : tuple of Reason
        Why there is no shot, where there is none; the last note states it.
    """

    shots: tuple[FittedShot, ...]
    notes: tuple[str, ...]
    camera: Camera
    rejected_candidates: tuple[RejectedCandidate, ...] = ()
    causes: tuple[Reason, ...] = ()


# A fit to what is no ball may fly beyond all numbers, which rejects it and concerns no person.
@np.errstate(over="ignore", invalid="ignore")
def measure(
    facts: ClipFacts, request: ClipRequest, start: Start, observers: Observers = NO_OBSERVERS
) -> ClipResult:
    """Find and measure every shot of a clip.

    Parameters
    ----------
    facts : ClipFacts
        The clip and the times of its frames.
    request : ClipRequest
        The conditions of its shots.
    start : Start
        Where they may begin.
    observers : Observers
        Who is informed on the way.
    """
    found = start.find(facts, request, observers)
    shots, rejected = selected(found.shots, found.rejected, request.setup)
    for reason in request.doubts:
        shots = [doubted(shot, reason) for shot in shots]
    causes: tuple[Reason, ...] = ()
    if all(each.shot.quality is Quality.REJECTED for each in shots):
        causes = found.causes or start.causes_of_no_shot(
            facts, request, observers.progress_only, [each.shot for each in shots]
        )
    stated = [sentence(causes)] if causes else []
    return ClipResult(
        tuple(numbered(shot, number) for number, shot in enumerate(shots, start=1)),
        (*facts.notes, *found.notes, *stated),
        found.camera,
        tuple(rejected),
        causes,
    )
