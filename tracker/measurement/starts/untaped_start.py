"""What is known of where shots start, where gravity is the only scale."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calibration.camera import Camera
from calibration.site import Site
from calibration.site.presumed import (
    UNTAPED_AWAY_LOG_SD,
    UNTAPED_AWAY_M,
    USUAL_AWAY_M,
    Presumption,
)
from tracker.fitting import Circumstances
from tracker.fitting.untaped import UntapedCircumstances
from tracker.following.arcs import Arc
from tracker.measurement.flight import Beginning, StartPrior, loosened

USUAL_RELEASE_M, RELEASE_SD_M = 1.15, 0.5
"""Height of a release that nobody measured, m: 0.3 to 2 m, by a launcher or a hand. Common
practice, no source."""

LATE_FRAMES, LATE_U_FRAMES, LATE_U_S = 0.7, 1.5, 0.008
"""How long before its first position a ball was released, in frames, and its standard uncertainty
in frames and in s."""

FAINT_FRAMES, FAINT_S = 4.0, 0.05
"""How long before its first position a ball may have been released that is faint there, in frames
and s. Common practice, no source."""

SCALED_MARKERS, UNSEEN_S = 2, 0.3
"""Fewest markers that give the release its place in the frame, and how long after it a ball may
first be seen then, s: the path says when it was there. Common practice, no source."""


class Hidden(NamedTuple):
    """How long before it is first seen a ball flew.

    Attributes
    ----------
    mean_s, u_s : float
        On average, and its standard uncertainty; below zero where a hand still led it.
    """

    mean_s: float
    u_s: float


IN_VIEW = Hidden(0.0, 0.0)
"""Of a ball that is seen as soon as it flies."""


@dataclass(frozen=True)
class UntapedStart:
    """What is known of where shots start.

    Attributes
    ----------
    site : Site
    height_known : bool
        Whether the height of the release was measured.
    near_m : float or None
        Distance that the ball's size in the frame gives, where it is seen so near that it shows.
    """

    site: Site
    height_known: bool
    near_m: float | None = None

    @property
    def bare(self) -> bool:
        """Whether nothing was taped that a flight shows."""
        return not self.height_known and not self.site.picked

    @property
    def release_in_frame(self) -> bool:
        """Whether markers give the release its place in the frame."""
        return self.height_known and len(self.site.picked) >= SCALED_MARKERS

    def prior(self, known: Circumstances) -> StartPrior:
        """Return where a flight may begin."""
        place, u_m = known.release_m.copy(), np.full(3, known.release_u_m)
        if not self.height_known:
            place[2], u_m[2] = USUAL_RELEASE_M, RELEASE_SD_M
        return StartPrior(place, u_m)

    def presumption(self, arc: Arc) -> Presumption:
        """Return what is presumed of the camera on the side from which a path is seen."""
        if self.near_m is None and self.bare:
            side = side_of(arc)
            return Presumption(self.site, side, UNTAPED_AWAY_M, UNTAPED_AWAY_LOG_SD)
        return Presumption(self.site, side_of(arc), self.near_m or USUAL_AWAY_M)

    def loosened(
        self,
        known: Circumstances,
        camera: Camera,
        first_s: float,
        frame_s: float,
        faint: bool = False,
        hidden: Hidden = IN_VIEW,
    ) -> UntapedCircumstances:
        """Return the priors of a flight that was first seen, clearly or faintly, at a time.

        Before that it may have been `hidden`, or still have been in a hand.
        """
        u_s = float(np.hypot(LATE_U_FRAMES * frame_s, LATE_U_S))
        if faint:
            u_s = float(np.hypot(u_s, np.hypot(FAINT_FRAMES * frame_s, FAINT_S)))
        if self.release_in_frame:
            u_s = float(np.hypot(u_s, UNSEEN_S))
        began_s = first_s - LATE_FRAMES * frame_s - hidden.mean_s
        beginning = Beginning(began_s, float(np.hypot(u_s, hidden.u_s)))
        return loosened(known, self.prior(known), beginning, camera, by_hand=self.bare)


def side_of(arc: Arc) -> int:
    """Return 1 for a camera to the left of the firing line, -1 for one to its right."""
    return 1 if arc.velocity_pxps[0] < 0.0 else -1
