"""The kept measurement of a session, with everything applied that a person decided."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, typed
from tracker.measurement.added import Picks
from tracker.measurement.fitted_shot import FittedShot
from tracker.records import RejectedCandidate
from tracker.results import read_provenance
from tracker.results.matching import MATCHING_S
from tracker.session import AddedShot, Review, Session, read_review, read_session
from tracker.video import ClipFacts
from tracker.workflow.added import kept_or_measured, with_added
from tracker.workflow.clips import ready_clips
from tracker.workflow.decisions import decide
from tracker.workflow.inputs import results_of, session_digests
from tracker.workflow.jobs import Task
from tracker.workflow.measured import MeasuredClip
from tracker.workflow.refuted import without_refuted

DecidedClips = tuple[tuple[MeasuredClip, ...], tuple[str, ...]]
"""Clips with the decisions applied, and notes on those that were not."""


def with_review(
    tasks: Sequence[Task], clips: Sequence[MeasuredClip], review: Review, quick: bool = False
) -> DecidedClips:
    """Return the clips of a session with added shots and decisions, and notes.

    Parameters
    ----------
    tasks, clips : sequence of Task and of MeasuredClip
        One a clip, as measured.
    review : Review
    quick : bool
        As in `tracker.workflow.added.with_added`.
    """
    whole: list[MeasuredClip] = []
    notes: list[str] = []
    for task, clip in zip(tasks, clips, strict=True):
        found, said = with_added(task, clip, review.added, quick)
        whole.append(found)
        notes += said
    files = {clip.clip.file for clip in clips}
    notes += [
        f"{one.where}: {one.clip} is no clip of the session; the addition is kept and changes "
        "nothing"
        for one in review.added
        if one.clip not in files
    ]
    decided, said = decide(whole, review.decisions)
    return without_refuted(decided), (*notes, *said)


@dataclass(frozen=True)
class KeptSession:
    """A measured session whose measurement is kept, so that decisions are answered at once.

    Attributes
    ----------
    session : Session
    tasks : tuple of Task
    clips : tuple of MeasuredClip
        As measured, without decisions.
    """

    session: Session
    tasks: tuple[Task, ...]
    clips: tuple[MeasuredClip, ...]

    def now(self, quick: bool = True) -> DecidedClips:
        """Return the clips with the decisions that stand in ``review.toml`` now, and notes.

        Parameters
        ----------
        quick : bool
            Whether added shots that no run has measured yet are fitted to their places alone.
        """
        return with_review(self.tasks, self.clips, read_review(self.session), quick)

    def shot(self, clip: str, release_s: float) -> FittedShot | None:
        """Return the shot as measured that was released nearest to a time; None without any."""
        shots = [shot for each in self.clips if each.clip.file == clip for shot in each.shots]
        return min(shots, key=lambda shot: abs(shot.shot.release_s - release_s), default=None)

    def answer(self, clip: str, at_s: float) -> tuple[FittedShot | None, tuple[str, ...]]:
        """Return a clip's last shot released before a time, as the decisions have it, and notes.

        AddedShot shots are measured.
        """
        clips, notes = self.now(quick=False)
        shots = [shot for each in clips if each.clip.file == clip for shot in each.shots]
        before = [shot for shot in shots if shot.shot.release_s <= at_s + MATCHING_S]
        return max(before, key=lambda shot: shot.shot.release_s, default=None), notes

    def measured(self, added: AddedShot, quick: bool = False) -> FittedShot:
        """Return the shot that an addition would make.

        Parameters
        ----------
        added : AddedShot
        quick : bool
            Whether it is fitted to its places alone, without a look at the clip.

        Raises
        ------
        InputError
            Where no flight from the release passes through its places.
        """
        for task, clip in zip(self.tasks, self.clips, strict=True):
            if clip.clip.file == added.clip:
                return kept_or_measured(task, clip, added, quick)
        files = ", ".join(clip.clip.file for clip in self.clips)
        raise InputError(f"{added.clip} is no clip of the session", remedy=f"they are {files}")

    def facts(self, clip: str) -> ClipFacts:
        """Return the facts of a clip."""
        return next(task.ready.facts for task in self.tasks if task.ready.clip.file == clip)

    def times_s(self, clip: str, picks: Picks) -> list[float]:
        """Return the times of picked places on the clip's own clock, to the tenth of a ms."""
        facts = self.facts(clip)
        begun = float(facts.file_times_s[0])
        return [round(float(facts.file_times_s[pick.frame]) - begun, 4) for pick in picks.places]

    @property
    def candidates(self) -> tuple[RejectedCandidate, ...]:
        """The rejected candidates of all clips."""
        return tuple(one for clip in self.clips for one in clip.rejected_candidates)


def kept_session(folder: Path, cache: Path | None) -> KeptSession | None:
    """Return the kept measurement of a session's results, without its decisions.

    None where the session changed since or it was not kept.

    Parameters
    ----------
    folder : Path
    cache : Path or None
        Folder in which measurements are kept.

    Raises
    ------
    InputErrors
        With every fault of the session or of its clips.
    """
    session = read_session(folder)
    if cache is None:
        return None
    ready, digests = ready_clips(session), session_digests(session)
    anywhere = read_provenance(results_of(session) / "shots.json").from_anywhere
    for explained in (False, True):
        tasks = [Task(session, one, explained, anywhere, cache, digests) for one in ready]
        kept = [task.kept() for task in tasks]
        clips = tuple(one.clip for one in kept if one is not None)
        if clips and len(clips) == len(tasks):
            return KeptSession(session, tuple(tasks), clips)
    return None


def candidate_at(
    folder: Path, cache: Path | None, release_s: float, clip: str | None = None
) -> tuple[KeptSession, RejectedCandidate]:
    """Return the rejected candidate that was released at a time, with the kept measurement.

    Raises
    ------
    InputError
        Where there is none, or the measurement is not kept.
    """
    kept = kept_session(folder, cache)
    if kept is None:
        raise InputError(
            "its candidates are not kept, or the session changed since it was measured",
            where=str(folder),
            remedy=f"lobmeter measure {typed(folder)}",
        )
    mine = [one for one in kept.candidates if clip in (None, one.clip)]
    near = [one for one in mine if abs(one.release_s - release_s) <= MATCHING_S]
    if not near:
        times = ", ".join(f"{one.release_s:.2f}" for one in mine) or "none"
        raise InputError(
            f"no rejected candidate was released at {release_s:g} s",
            where="--candidate",
            remedy=f"those of the session were released at {times}",
        )
    return kept, min(near, key=lambda one: abs(one.release_s - release_s))
