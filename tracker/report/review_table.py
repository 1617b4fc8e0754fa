"""The shots of a session with a person's decisions, for the terminal."""

from collections.abc import Iterable

from rich.markup import escape
from rich.table import Table

from tracker.records import Shot
from tracker.report.rounding import with_uncertainty
from tracker.report.terminal import RULED, STYLES
from tracker.session import Decision


def review_table(rows: Iterable[tuple[Shot, Decision | None]]) -> Table:
    """Return every shot with its quality and the decision about it.

    Parameters
    ----------
    rows : iterable of (Shot, Decision or None)
    """
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("clip\n", overflow="fold", min_width=8)
    table.add_column("shot\n", justify="right", no_wrap=True)
    table.add_column("release\ns", justify="right", no_wrap=True)
    table.add_column("carry\nm", justify="right", no_wrap=True)
    table.add_column("quality\n", no_wrap=True)
    table.add_column("decision\n", overflow="fold")
    for shot, decision in rows:
        table.add_row(
            escape(shot.clip),
            str(shot.shot),
            f"{shot.release_s:.2f}",
            with_uncertainty(shot.carry_m, shot.carry_u_m),
            f"[{STYLES[shot.quality]}]{shot.quality}[/]",
            "" if decision is None else escape(decision.words),
        )
    return table
