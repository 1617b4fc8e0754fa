"""``lobmeter vantage``."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import InputError, InputErrors
from tracker.cli.screen import CAUTION, console, say, show_json, show_table

if TYPE_CHECKING:
    from rich.console import Console

    from tracker.vantage import Box, Vantage

FIELD_M = 500.0
"""No camera stands farther from the launcher, m: a coordinate beyond it is a slip of the pen."""

Triple = tuple[float, float, float]


SearchOption = Annotated[
    str,
    typer.Option(
        "--search",
        metavar="BOX",
        help="Find the best place within along, across and up from:to, as in "
        "0:40,-45:-20,1:3; a single number holds one fixed.",
    ),
]


def vantage(
    session: Annotated[
        Path | None,
        typer.Argument(
            metavar="SESSION",
            help="Folder with a session.toml, planned or filmed; a usual session when left out.",
        ),
    ] = None,
    position: Annotated[
        str,
        typer.Option(
            "--position",
            metavar="ALONG,ACROSS,UP",
            help="Where the camera would stand, m; as the session says when left out.",
        ),
    ] = "",
    search: SearchOption = "",
    of: Annotated[
        str,
        typer.Option(
            "--of",
            metavar="COLUMN",
            help="What counts: carry_m, exit_speed_mps, launch_angle_deg or azimuth_deg.",
        ),
    ] = "carry_m",
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            metavar="FILE.png",
            help="Where the drawing goes; into the session's results when left out.",
        ),
    ] = None,
    detail: Annotated[
        bool, typer.Option("--detail", help="Print every table and every single change too.")
    ] = False,
) -> None:
    """Predict what a place to film from gives, or find the best place.

    Says whether the whole flight stays in view, to what uncertainty exit speed, angles and carry
    will be measured, how short the shutter must be, and which single change helps most. Write the
    session once, as docs/formats.md shows under [planned], and measure it after filming.
    """
    from tracker.workflow.vantage import judge_vantage

    place, box = _read_options(position, search, to)
    report = judge_vantage(session, place, box, of, to)
    _show(screen := console(), report.vantage, detail)
    if report.picture is not None:
        say(screen, [f"Picture: {report.picture}"])
    say(screen, [CAUTION])
    show_json({**_document(report.vantage), "picture": report.picture})


def _document(found: "Vantage") -> dict[str, object]:
    from tracker.report.documents import vantage_document

    return vantage_document(found)


def _show(screen: "Console", found: "Vantage", detail: bool) -> None:
    """Print the verdict and what stands behind it."""
    from tracker.report import vantage_tables as tables
    from tracker.report import vantage_words as words

    say(screen, [*words.summary(found), words.assumed_sentence(found)])
    if detail:
        show_table(screen, tables.forecast_table(found.forecast))
        show_table(screen, tables.moments_table(found.forecast))
        say(screen, words.details(found))
        say(screen, ["", "Standard uncertainties after single changes:"])
        show_table(screen, tables.changes_table(found.changes, found.quantity, found.forecast.u))
        say(screen, [words.idle_sentence(found)])
    else:
        say(screen, ["Every table and every change: --detail"])
    say(screen, words.cautions(found))


def _read_options(
    position: str, search: str, to: Path | None
) -> tuple[Triple | None, "Box | None"]:
    """Return place and box as numbers; all faults of the options at once."""
    faults: list[InputError] = []
    place, box = None, None
    try:
        place = _place(position) if position.strip() else None
    except InputError as error:
        faults.append(error)
    try:
        box = _box(search) if search.strip() else None
    except InputError as error:
        faults.append(error)
    if position.strip() and search.strip():
        what = "a place is given or searched for"
        faults.append(InputError(what, where="--search, --position", remedy="keep one"))
    if to is not None and to.suffix.lower() != ".png":
        what = f'"{to.name}" is no name of a picture'
        faults.append(InputError(what, where="--to", remedy="end it in .png"))
    if faults:
        raise InputErrors(faults)
    return place, box


def _place(text: str) -> Triple:
    remedy = "write along, across and up in metres, as in 20,-38,1.6"
    parts = _numbers(text, ",")
    if len(parts) != 3:
        raise InputError(f'"{text}" is not three numbers', where="--position", remedy=remedy)
    _check_field("--position", parts, parts[2])
    return parts[0], parts[1], parts[2]


def _box(text: str) -> "Box":
    """Return the ranges of along, across and up."""
    remedy = "write along, across and up in metres, as in 0:40,-45:-20,1:3 or 0:40,-30,1.5"
    spans = []
    for part in text.split(","):
        ends = _numbers(part, ":")
        if len(ends) not in (1, 2):
            raise InputError(f'"{part}" is no range', where="--search", remedy=remedy)
        spans.append((min(ends), max(ends)))
    if len(spans) != 3:
        raise InputError(f'"{text}" is not three ranges', where="--search", remedy=remedy)
    _check_field("--search", [end for span in spans for end in span], spans[2][0])
    return spans[0], spans[1], spans[2]


def _numbers(text: str, separator: str) -> list[float]:
    """Return the numbers of a text, none where one of them is no finite number."""
    try:
        found = [float(part) for part in text.split(separator)]
    except ValueError:
        return []
    return found if all(math.isfinite(value) for value in found) else []


def _check_field(option: str, values_m: list[float], lowest_up_m: float) -> None:
    beyond = [value for value in values_m if abs(value) > FIELD_M]
    if beyond:
        what = f"{beyond[0]:g} is out of range"
        raise InputError(what, where=option, remedy=f"stay within {-FIELD_M:g} to {FIELD_M:g} m")
    if lowest_up_m < 0.0:
        what = "a camera cannot stand below the ground"
        raise InputError(what, where=option, remedy="give up from 0 on")
