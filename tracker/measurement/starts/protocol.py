"""What a kind of start hands to the measurement of a clip."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from calibration.camera import Camera
from tracker.measurement.fitted_shot import FittedShot, TracedFlight, doubted
from tracker.measurement.passes import Observers, Timing
from tracker.measurement.request import ClipRequest
from tracker.records import Quality, Reason, RejectedCandidate, Shot
from tracker.video import ClipFacts


@dataclass
class Findings:
    """What a start found in a clip.

    Attributes
    ----------
    camera : Camera
        With which the shots are drawn.
    shots : list of FittedShot
        With their release on the file's own clock.
    rejected : list of RejectedCandidate
    notes : list of str
        Sentences about the clip.
    causes : tuple of Reason
        Why there is no shot, where that is known already.
    flights : list of TracedFlight
        What was fitted from the taped release, whatever was made of it.
    """

    camera: Camera
    shots: list[FittedShot] = field(default_factory=list)
    rejected: list[RejectedCandidate] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    causes: tuple[Reason, ...] = ()
    flights: list[TracedFlight] = field(default_factory=list)

    @property
    def any_shot(self) -> bool:
        """Whether a shot was found that is not rejected."""
        return any(each.shot.quality is not Quality.REJECTED for each in self.shots)

    def sort(self, found: Sequence[FittedShot | RejectedCandidate]) -> None:
        """Take what was found, each to its own list."""
        for each in found:
            if isinstance(each, RejectedCandidate):
                self.rejected.append(each)
            else:
                self.shots.append(each)

    def on_file_clock(self, timing: Timing, facts: ClipFacts) -> None:
        """State every release on the file's own clock again."""
        self.shots = [
            replace(
                each,
                shot=replace(each.shot, release_s=timing.file_clock_s(each.shot.release_s, facts)),
            )
            for each in self.shots
        ]
        self.rejected = [
            replace(each, release_s=timing.file_clock_s(each.release_s, facts))
            for each in self.rejected
        ]

    def doubt(self, *reasons: Reason) -> None:
        """Doubt every shot for what concerns the whole clip."""
        for reason in reasons:
            self.shots = [doubted(each, reason) for each in self.shots]


class Start(Protocol):
    """A kind of start: where shots may begin, and how they are found there."""

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        """Find and measure the shots of a clip that begin here."""
        ...

    def causes_of_no_shot(
        self,
        facts: ClipFacts,
        request: ClipRequest,
        observers: Observers,
        rejected: Sequence[Shot] = (),
    ) -> tuple[Reason, ...]:
        """Return the likeliest cause where no shot was found; none where nothing can be said.

        Rejected rows state their own reasons, and may be all that there is to say.
        """
        ...
