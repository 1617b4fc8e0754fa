"""``lobmeter demo``: the whole job on a sample session whose truth is known."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.records import Shot
from tracker.results.matching import paired
from tracker.workflow import compare as setups
from tracker.workflow.clips import Progress
from tracker.workflow.measure import measure_session
from tracker.workflow.measured import SessionResult
from tracker.workflow.predict import predict_sessions
from tracker.workflow.report import report_sessions
from tracker.workflow.samples import copy_samples
from tracker.workflow.sweeping import SweepPrediction

SESSION = "wheels"
"""The sample session: three wheels, five shots each."""

SWEEP = "wheel.diameter_mm=100:180:5"
"""The wheels that were shot, and one between each two of them."""

TRUTH_FILE = "truth.json"

Truth = Mapping[str, float]


@dataclass(frozen=True)
class ClipBesideTruth:
    """The shots of one clip beside the truth.

    Attributes
    ----------
    file : str
    pairs : tuple of (Shot, mapping)
        Each measured shot that is one, with its true values by column of ``shots.csv``.
    missed : tuple of mapping
        True shots that were not found.
    invented : tuple of Shot
        Rows that are no shot.
    """

    file: str
    pairs: tuple[tuple[Shot, Truth], ...]
    missed: tuple[Truth, ...]
    invented: tuple[Shot, ...]


@dataclass(frozen=True)
class Demonstrated:
    """The sample session taken through the whole job.

    Attributes
    ----------
    result : SessionResult
    clips : tuple of ClipBesideTruth
        Each clip beside the truth.
    comparison : setups.Compared
        The setups with each other.
    untested : SweepPrediction
        What is predicted along the wheel's diameter, setups that were shot and others.
    report : Path
    """

    result: SessionResult
    clips: tuple[ClipBesideTruth, ...]
    comparison: setups.Compared
    untested: SweepPrediction
    report: Path


def run_demo(to: Path | None = None, progress: Progress | None = None) -> Demonstrated:
    """Copy the sample session, measure and compare it, predict untested wheels, write the report.

    Parameters
    ----------
    to : Path, optional
        Folder for the copy; without it one beside the caller.
    progress : callable, optional

    Raises
    ------
    InputError
        Where the copy cannot be written.
    """
    (folder,) = copy_samples(to, Path.cwd(), (SESSION,))
    result = measure_session(folder, progress)
    sweep = predict_sessions([folder], sweeps=(SWEEP,)).sweep
    assert sweep is not None
    return Demonstrated(
        result,
        beside_truth(folder, result),
        setups.compare_sessions([folder]),
        sweep,
        report_sessions([folder]).page,
    )


def beside_truth(folder: Path, result: SessionResult) -> tuple[ClipBesideTruth, ...]:
    """Put each measured shot beside its true values in the session's `truth.json`."""
    document = json.loads((folder / TRUTH_FILE).read_text(encoding="utf-8"))
    true = {clip["file"]: clip["shots"] for clip in document["clips"]}
    return tuple(
        compare(
            clip.clip.file,
            [measured.shot for measured in clip.shots],
            true.get(clip.clip.file, []),
        )
        for clip in result.clips
    )


def compare(file: str, shots: Sequence[Shot], truths: Sequence[Truth]) -> ClipBesideTruth:
    """Pair measured shots with true ones by their release, the nearest first."""
    pairs = paired([shot.release_s for shot in shots], [truth["release_s"] for truth in truths])
    return ClipBesideTruth(
        file=file,
        pairs=tuple((shots[i], truths[j]) for i, j in pairs.items()),
        missed=tuple(truth for j, truth in enumerate(truths) if j not in pairs.values()),
        invented=tuple(shot for i, shot in enumerate(shots) if i not in pairs),
    )
