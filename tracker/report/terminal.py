"""Tables for the terminal, in characters that every console has."""

from collections.abc import Iterable, Mapping, Sequence

from rich.box import Box
from rich.table import Table

from tracker.records import Quality, Shot
from tracker.report.rounding import MISSING, figure_rows

RULED = Box("    \n    \n -- \n    \n    \n -- \n    \n    \n", ascii=True)
"""A rule under the head, nothing else; box-drawing characters are missing on some consoles."""

QUANTITIES = (
    ("exit speed", "m/s", "exit_speed_mps", "exit_speed_u_mps"),
    ("launch angle", "°", "launch_angle_deg", "launch_angle_u_deg"),
    ("azimuth", "°", "azimuth_deg", "azimuth_u_deg"),
    ("carry", "m", "carry_m", "carry_u_m"),
    ("apex", "m", "apex_m", "apex_u_m"),
    ("flight time", "s", "flight_time_s", "flight_time_u_s"),
)
"""Heading, unit, column and column of its standard uncertainty."""

WIDE = 106
"""Columns of a console that holds every quantity."""
NARROW = ("exit speed", "launch angle", "carry", "flight time")
COMPARED = ("exit speed", "launch angle", "carry")

STYLES = {Quality.GOOD: "green", Quality.CHECK: "yellow", Quality.REJECTED: "red"}


def shots_table(shots: Sequence[Shot], width: int) -> Table:
    """Return the shots of one clip as a table that fits a console.

    Parameters
    ----------
    shots : sequence of Shot
        The shots of one clip.
    width : int
        Columns of the console; a narrow one is shown the four quantities asked for most.
    """
    shown = [one for one in QUANTITIES if width >= WIDE or one[0] in NARROW]
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("shot\n", justify="right")
    for heading, unit, _, _ in shown:
        table.add_column(f"{heading}\n{unit}", justify="right", no_wrap=True)
    table.add_column("frames\nseen", justify="right")
    table.add_column("quality\n", no_wrap=True)
    for shot, cells in zip(shots, figure_rows(shots, [one[2:] for one in shown]), strict=True):
        quality = f"[{STYLES[shot.quality]}]{shot.quality}[/]"
        table.add_row(str(shot.shot), *cells, str(shot.frames_seen), quality)
    return table


def truth_table(rows: Iterable[tuple[Shot, Mapping[str, float]]]) -> Table:
    """Return measured shots beside the true values.

    Parameters
    ----------
    rows : iterable of (Shot, mapping)
        Each shot and the true values by column name of ``shots.csv``.
    """
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("shot\n", justify="right")
    shown = [one for one in QUANTITIES if one[0] in COMPARED]
    for heading, unit, _, _ in shown:
        table.add_column(f"{heading}\n{unit}", justify="right", no_wrap=True)
        table.add_column("\ntrue", justify="left", style="bold")
    listed = list(rows)
    figures = figure_rows([shot for shot, _ in listed], [one[2:] for one in shown])
    for (shot, truth), measured in zip(listed, figures, strict=True):
        cells = []
        for (_, _, name, _), cell in zip(shown, measured, strict=True):
            cells += [cell, f"{truth[name]:.2f}" if name in truth else MISSING]
        table.add_row(str(shot.shot), *cells)
    return table


def remarks(shots: Iterable[Shot]) -> list[str]:
    """Return a sentence for every shot that is not good, and one for a landing out of sight."""
    found = []
    for shot in shots:
        if shot.quality != Quality.GOOD:
            found.append(f"shot {shot.shot}, {shot.quality}: {shot.reason}")
        elif not shot.landing_seen:
            found.append(f"shot {shot.shot}: the landing was not seen; the carry is the fit's")
    return found
