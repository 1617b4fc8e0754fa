"""``lobmeter demo``: the samples measured, each shot beside its true values."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.records import Shot
from tracker.results.matching import paired
from tracker.workflow.clips import Progress
from tracker.workflow.measure import measure_session
from tracker.workflow.measured import SessionResult
from tracker.workflow.samples import copy_samples

TRUTH_FILE = "truth.json"

Truth = Mapping[str, float]


@dataclass(frozen=True)
class Compared:
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
    """A sample session measured, and each of its clips beside the truth."""

    result: SessionResult
    clips: tuple[Compared, ...]


def run_demo(to: Path | None = None, progress: Progress | None = None) -> tuple[Demonstrated, ...]:
    """Copy the sample sessions, measure them, and put each shot beside the truth.

    Parameters
    ----------
    to : Path, optional
        Folder for the copies; without it one beside the caller.
    progress : callable, optional

    Returns
    -------
    tuple of Demonstrated

    Raises
    ------
    InputError
        Where the copies cannot be written.
    """
    return tuple(demonstrate(folder, progress) for folder in copy_samples(to, beside=Path.cwd()))


def demonstrate(folder: Path, progress: Progress | None = None) -> Demonstrated:
    """Measure a session that has a `truth.json` and put each shot beside it."""
    result = measure_session(folder, progress)
    document = json.loads((folder / TRUTH_FILE).read_text(encoding="utf-8"))
    true = {clip["file"]: clip["shots"] for clip in document["clips"]}
    return Demonstrated(
        result,
        tuple(
            compare(
                clip.clip.file,
                [measured.shot for measured in clip.shots],
                true.get(clip.clip.file, []),
            )
            for clip in result.clips
        ),
    )


def compare(file: str, shots: Sequence[Shot], truths: Sequence[Truth]) -> Compared:
    """Pair measured shots with true ones by their release, the nearest first."""
    pairs = paired([shot.release_s for shot in shots], [truth["release_s"] for truth in truths])
    return Compared(
        file=file,
        pairs=tuple((shots[i], truths[j]) for i, j in pairs.items()),
        missed=tuple(truth for j, truth in enumerate(truths) if j not in pairs.values()),
        invented=tuple(shot for i, shot in enumerate(shots) if i not in pairs),
    )
