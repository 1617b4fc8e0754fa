"""What the measurement of a session yields."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calibration.camera import Camera
from calibration.site import Calibration
from tracker.measurement import FittedShot
from tracker.records import Pooled, Quality, Reason, RejectedCandidate, Shot
from tracker.results.computed import gone_note
from tracker.session import ClipEntry, Session


@dataclass(frozen=True)
class MeasuredClip:
    """The measurement of one clip.

    Attributes
    ----------
    clip : ClipEntry
    calibration : Calibration or None
        None where the markers do not fix a camera, and gravity is the scale.
    camera : Camera
        With which the shots are drawn.
    shots : tuple of FittedShot
    notes : tuple of str
        Sentences that a person should read.
    rejected_candidates : tuple of RejectedCandidate
        Candidate flights that were rejected.
    causes : tuple of Reason
        Why there is no shot, where there is none; the last note states it.
    """

    clip: ClipEntry
    calibration: Calibration | None
    camera: Camera
    shots: tuple[FittedShot, ...]
    notes: tuple[str, ...]
    rejected_candidates: tuple[RejectedCandidate, ...] = ()
    causes: tuple[Reason, ...] = ()

    @property
    def said(self) -> tuple[str, ...]:
        """The notes but for why there is no shot, which has a place of its own."""
        return self.notes[:-1] if self.causes else self.notes


@dataclass(frozen=True)
class SessionResult:
    """The measurement of a session.

    Attributes
    ----------
    session : Session
    clips : tuple of MeasuredClip
        In the order of ``session.toml``.
    folder : Path
        Where the results lie.
    pooled : mapping of str to Pooled
        Drag and lift estimated from all good shots; empty for fewer than two.
    notes : tuple of str
        On decisions of a person that fit no shot.
    kept : tuple of str
        Names under which files of the earlier results that a person had edited were kept.
    gone : mapping of str to str
        Reports and films of other rows, which were removed: the command that makes each again.
    """

    session: Session
    clips: tuple[MeasuredClip, ...]
    folder: Path
    pooled: Mapping[str, Pooled] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    gone: Mapping[str, str] = field(default_factory=dict)

    @property
    def place(self) -> Path:
        """The session as its person writes it: its folder, or the video file without one."""
        return self.session.clips[0].path if self.session.bare else self.session.folder

    @property
    def gone_notes(self) -> tuple[str, ...]:
        """What a person should know of reports and films that were removed; nothing without any."""
        return (gone_note(self.gone, self.place),) if self.gone else ()

    @property
    def measured(self) -> tuple[FittedShot, ...]:
        """Every shot with what was measured beside its row."""
        return tuple(measured for clip in self.clips for measured in clip.shots)

    @property
    def needs_look(self) -> bool:
        """Whether a person should look at something before believing the rows."""
        doubtful = any(shot.quality is not Quality.GOOD for shot in self.shots)
        return doubtful or not self.shots or bool(self.notes or self.kept)

    @property
    def shots(self) -> tuple[Shot, ...]:
        """Every row of ``shots.csv``."""
        return tuple(measured.shot for measured in self.measured)
