"""When the frames of a clip are held against a new one, since the camera looks elsewhere.

Where nothing was taped, no place in the frame matters but the ball's: a camera that was panned or
zoomed before a throw, or will be after it, is followed from any frame that shows the same view.
"""

from dataclasses import dataclass, field

RENEW_S = 0.2
"""How long the background stays lost before another frame is taken, s: a person who passes close
by hides it for less. Common practice, no source."""

SAME_S = 1e-9
"""Times nearer than this are one frame's, s."""


@dataclass
class Renewals:
    """The frames that the later ones are held against, beside the first.

    Attributes
    ----------
    watching : bool
        Whether such frames are looked for; else those that were found before are taken.
    times_s : list of float
        Their true times.
    """

    watching: bool = False
    times_s: list[float] = field(default_factory=list)
    _lost_since_s: float | None = None

    def due(self, time_s: float, lost: bool) -> bool:
        """Return whether a frame is to be such a one.

        Parameters
        ----------
        time_s : float
            Its true time.
        lost : bool
            Whether the background could not be followed when it was last looked at.
        """
        if not self.watching:
            return any(abs(time_s - each) < SAME_S for each in self.times_s)
        if not lost:
            self._lost_since_s = None
            return False
        if self._lost_since_s is None:
            self._lost_since_s = time_s
        if time_s - self._lost_since_s < RENEW_S - SAME_S:
            return False
        self._lost_since_s = None
        self.times_s.append(time_s)
        return True
