"""Several sessions together, from folders or from the logbook."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge

if TYPE_CHECKING:
    from tracker.session import Session


@dataclass(frozen=True)
class Outings:
    """Several sessions together.

    Attributes
    ----------
    sessions : tuple of Session
        Empty where they come from the logbook.
    setups : tuple of Setup
        In the order in which they come first.
    notes : tuple of str
        Sentences that a person should read.
    """

    sessions: "tuple[Session, ...]"
    setups: tuple[Setup, ...]
    notes: tuple[str, ...]

    @cached_property
    def known(self) -> Knowledge:
        """What all shots say of the launcher's model."""
        return Knowledge(self.setups)
