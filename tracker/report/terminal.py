"""Tables for the terminal, in characters that every console has."""

from collections.abc import Iterable, Mapping, Sequence

from rich.box import Box
from rich.table import Table

from tracker.records import Quality, Reason, ReasonCode, Shot
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

OF_SCALE = (
    ReasonCode.GRAVITY_IS_SCALE,
    ReasonCode.GRAVITY_IS_SCALE_FEW_MARKERS,
    ReasonCode.TAPE_ONE_DISTANCE,
)
"""Reasons that every shot of a clip without a taped scale has."""

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
    """Return a sentence for every shot that is not good, and one for a landing out of sight.

    Shots to be checked for the same are named in one sentence; what only follows from the missing
    scale is then stated in the figures of the first.
    """
    found: dict[object, list[Shot]] = {}
    for shot in shots:
        if shot.quality != Quality.GOOD:
            found.setdefault(
                (shot.quality, *map(_kind, shot.reasons), not shot.reasons), []
            ).append(shot)
        elif not shot.landing_seen:
            found.setdefault((Quality.GOOD,), []).append(shot)
    return [_remark(alike) for alike in found.values()]


def _kind(reason: Reason) -> object:
    """Return what makes two reasons alike: of those of the missing scale the code alone."""
    return reason.code if reason.code in OF_SCALE else (reason.code, reason.clause)


def _remark(alike: Sequence[Shot]) -> str:
    first = alike[0]
    numbers = [str(shot.shot) for shot in alike]
    if len(alike) == 1:
        head = f"shot {numbers[0]}"
    else:
        head = f"shots {', '.join(numbers[:-1])} and {numbers[-1]}"
    if first.quality == Quality.GOOD:
        return f"{head}: the landing was not seen; the carry is the fit's"
    if all(shot.reason == first.reason for shot in alike):
        return f"{head}, {first.quality}: {first.reason}"
    said = first.reason.rstrip(".")
    return f"{head}, {first.quality}: {said} (the figures are those of shot {first.shot})"
