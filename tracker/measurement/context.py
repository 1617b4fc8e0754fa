"""What is known of a clip before a frame of it is looked at, and what every step is handed."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import row_fraction
from tracker.detection import SearchSettings
from tracker.fitting import Circumstances
from tracker.following import SearchContext
from tracker.measurement.request import ClipRequest
from tracker.records import Track
from tracker.video import ClipFacts

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ClipContext:
    """What every step of a clip's measurement is handed.

    Attributes
    ----------
    facts : ClipFacts
    request : ClipRequest
    circumstances : Circumstances
        The priors of a shot's fit, the camera among them.
    settings : SearchSettings
        What the ball looks like, and where in the frame it is looked for.
    faint : bool
        Whether balls are looked for that show in few of the frames they cross.
    clock_presumed : bool
        Whether nobody stated how fast the clip plays, and it is only tried.
    """

    facts: ClipFacts
    request: ClipRequest
    circumstances: Circumstances
    settings: SearchSettings
    faint: bool = False
    clock_presumed: bool = False

    @property
    def camera(self) -> Camera:
        """The camera of the circumstances."""
        return self.circumstances.camera

    @property
    def frame_s(self) -> float:
        """True time from one frame to the next."""
        return frame_interval_s(self.facts)

    def row_share(self, pixels: Array) -> Array:
        """Return how far down the readout pixels, shape (N, 2), lie: -0.5 to 0.5."""
        return row_fraction(pixels, self.facts.size_px, self.facts.rotation_deg)

    def row_share_of(self, track: Track) -> Array:
        """Return how far down the readout a track's positions lie, as filmed: -0.5 to 0.5."""
        return self.row_share(track.pixels if track.filmed_pixels is None else track.filmed_pixels)

    def rows_s(self, times_s: Array, pixels: Array, readout_s: float) -> Array:
        """Return the true times at which the rows of pixels were read, shape (N,).

        A pixel off the frame takes the time of the frame's nearest row.
        """
        delays: Array = readout_s * np.clip(np.nan_to_num(self.row_share(pixels)), -0.5, 0.5)
        return times_s + delays

    def with_circumstances(self, circumstances: Circumstances) -> "ClipContext":
        """Return the context with other priors."""
        return replace(self, circumstances=circumstances)

    def search_context(self) -> SearchContext:
        """Return what the search for flights and their following need of it."""
        known = self.circumstances
        return SearchContext(
            camera=known.camera,
            release_m=known.release_m,
            forces=known.forces,
            drag=known.drag,
            drag_u=known.drag_u,
            ball_radius_m=known.ball_radius_m,
            frame_s=self.frame_s,
            wind_mps=known.wind_mps,
            ground=known.ground,
            faint=self.faint,
        )


def frame_interval_s(facts: ClipFacts) -> float:
    """Return the true time from one frame of a clip to the next, s."""
    return 1.0 / (facts.file_fps * facts.pace)
