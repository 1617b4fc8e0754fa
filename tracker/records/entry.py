"""What is fixed about a reason that a row, a rejected candidate or a clip can have."""

from dataclasses import dataclass

from tracker.records.codes import EVERY_FIGURE, Figure


@dataclass(frozen=True)
class Entry:
    """What is fixed about a code.

    Attributes
    ----------
    phrase : str
        Short, for a table.
    clause : str
        For a person, without capital and full stop; numbers in braces.
    spoils : frozenset of Figure
        Figures that should not be compared while the reason stands.
    rejects : bool
        Whether the row is of quality `rejected`.
    """

    phrase: str
    clause: str
    spoils: frozenset[Figure] = EVERY_FIGURE
    rejects: bool = False


START = "{along:pm} m along, {across:pm} m across, {up:pm} m up"
"""Where a flight starts, in words."""
