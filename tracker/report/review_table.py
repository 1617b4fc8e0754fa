"""The shots of a session with a person's decisions, for the terminal."""

from collections.abc import Iterable

from rich.markup import escape
from rich.table import Table

from tracker.records import MeasuredShot, ReasonCode, Shot
from tracker.report.rounding import aligned, with_uncertainty
from tracker.report.terminal import RULED, STYLES
from tracker.session import AddedShot, Decision


def review_table(rows: Iterable[tuple[Shot, Decision | AddedShot | None]]) -> Table:
    """Return every shot with its quality and the decision about it.

    Parameters
    ----------
    rows : iterable of (Shot, Decision or AddedShot or None)
    """
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("clip\n", overflow="fold", min_width=8)
    table.add_column("shot\n", justify="right", no_wrap=True)
    table.add_column("release\ns", justify="right", no_wrap=True)
    table.add_column("carry\nm", justify="right", no_wrap=True)
    table.add_column("quality\n", no_wrap=True)
    table.add_column("decision\n", overflow="fold")
    listed = list(rows)
    carries = aligned((shot.carry_m, shot.carry_u_m) for shot, _ in listed)
    for (shot, decision), carry in zip(listed, carries, strict=True):
        table.add_row(
            escape(shot.clip),
            str(shot.shot),
            f"{shot.release_s:.2f}",
            carry,
            f"[{STYLES[shot.quality]}]{shot.quality}[/]",
            "" if decision is None else escape(decision.words),
        )
    return table


def answer_words(measured: MeasuredShot | None) -> list[str]:
    """Return the figures of a shot after a change, and what is doubtful of it.

    Parameters
    ----------
    measured : MeasuredShot or None
    """
    if measured is None:
        return []
    shot = measured.shot
    added = any(reason.code is ReasonCode.ADDED_BY_HAND for reason in shot.reasons)
    becomes = f"it is now shot {shot.shot}"
    if added:
        becomes = f"in the next results it is shot {shot.shot} of the clip"
    if shot.carry_m is None and shot.exit_speed_mps is None:
        return [f"{becomes}, {shot.quality}, without figures"]
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    carry = with_uncertainty(shot.carry_m, shot.carry_u_m)
    found = [f"{becomes}, {shot.quality}: exit speed {speed} m/s, carry {carry} m"]
    return [*found, shot.reason] if shot.reason else found
