"""The logbook's list for the terminal."""

from collections.abc import Iterable
from datetime import date
from typing import Protocol

from rich.table import Table

from tracker.report.rounding import MISSING
from tracker.report.terminal import RULED


class Line(Protocol):
    """One session of the list."""

    @property
    def id(self) -> int:
        """The session's number in the logbook."""

    @property
    def filmed_on(self) -> date | None:
        """Day of filming."""

    @property
    def name(self) -> str:
        """The session's name."""

    @property
    def ball(self) -> str:
        """Type of the ball."""

    @property
    def setups(self) -> int:
        """How many setups it has."""

    @property
    def shots(self) -> int:
        """How many shots were measured."""

    @property
    def rejected(self) -> int:
        """How many of them are rejected."""

    @property
    def mean_carry_m(self) -> float | None:
        """Mean carry of those that are not rejected, m."""


def sessions_table(lines: Iterable[Line]) -> Table:
    """Return the list of sessions; a long name folds, the numbers never do."""
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("no.\n", justify="right", no_wrap=True)
    table.add_column("filmed\n", no_wrap=True)
    table.add_column("session\n", overflow="fold", min_width=12)
    table.add_column("ball\n", overflow="fold")
    for heading in ("setups\n", "shots\n", "rejected\n", "mean carry\nm"):
        table.add_column(heading, justify="right", no_wrap=True)
    for line in lines:
        carry = MISSING if line.mean_carry_m is None else f"{line.mean_carry_m:.2f}"
        day = MISSING if line.filmed_on is None else line.filmed_on.isoformat()
        counts = (str(line.setups), str(line.shots), str(line.rejected or ""))
        table.add_row(str(line.id), day, _plain(line.name), _plain(line.ball), *counts, carry)
    return table


def _plain(text: str) -> str:
    """Return a text in which square brackets are no markup."""
    return text.replace("[", r"\[")
