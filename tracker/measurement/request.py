"""What is asked of a clip: the conditions of its shots, and the names it goes by."""

from dataclasses import dataclass

from tracker.fitting.conditions import Conditions
from tracker.records import Reason


@dataclass(frozen=True, kw_only=True)
class ClipRequest(Conditions):
    """The conditions of a clip's shots, and the names of the clip and its setup.

    Attributes
    ----------
    clip, setup : str
        As the session names them.
    doubts : tuple of Reason
        What concerns every shot of the clip and is known before.
    """

    clip: str
    setup: str
    doubts: tuple[Reason, ...] = ()
