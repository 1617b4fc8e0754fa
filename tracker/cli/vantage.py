"""``lobmeter vantage``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, say


def vantage(
    session: Annotated[
        Path | None,
        typer.Argument(
            metavar="SESSION",
            help="Folder with a session.toml, filmed or not; left out where options say all.",
        ),
    ] = None,
    position: Annotated[
        str,
        typer.Option(
            "--position", metavar="ALONG,ACROSS,UP", help="Where the camera would stand, m."
        ),
    ] = "",
    aim: Annotated[
        str,
        typer.Option(
            "--aim",
            metavar="ALONG,ACROSS,UP",
            help="What it would point at, m; the middle of all that must be in view when left out.",
        ),
    ] = "",
    search: Annotated[
        str,
        typer.Option(
            "--search",
            metavar="BOX",
            help="Find the best place within along, across and up from:to, as in "
            "0:40,-45:-20,1:3; a single number holds one fixed.",
        ),
    ] = "",
    clear: Annotated[
        float | None,
        typer.Option(
            "--clear",
            metavar="M",
            help="How far everybody keeps from the line of fire, 10 when left out.",
        ),
    ] = None,
    of: Annotated[
        str,
        typer.Option(
            "--of",
            metavar="COLUMN",
            help="What counts: carry_m, exit_speed_mps, launch_angle_deg or azimuth_deg.",
        ),
    ] = "carry_m",
    speed: Annotated[
        float | None,
        typer.Option(
            "--speed",
            metavar="M/S",
            help="Expected exit speed; foretold from the session's setups when left out.",
        ),
    ] = None,
    speed_u: Annotated[
        float | None,
        typer.Option(
            "--speed-u", metavar="M/S", help="Its standard uncertainty, scatter included."
        ),
    ] = None,
    setup: Annotated[
        str,
        typer.Option(
            "--setup", metavar="NAME", help="Setup to foretell it from; the fastest when left out."
        ),
    ] = "",
    angle: Annotated[
        float | None, typer.Option("--angle", metavar="DEG", help="Expected launch angle.")
    ] = None,
    angle_u: Annotated[
        float | None, typer.Option("--angle-u", metavar="DEG", help="Its standard uncertainty.")
    ] = None,
    height: Annotated[
        float | None, typer.Option("--height", metavar="M", help="Height of the release.")
    ] = None,
    ball: Annotated[
        str, typer.Option("--ball", metavar="NAME", help="A row of the ball table.")
    ] = "",
    wind: Annotated[
        str,
        typer.Option(
            "--wind", metavar="ALONG,ACROSS", help="Expected wind, m/s, downrange and to the left."
        ),
    ] = "",
    wind_u: Annotated[
        float | None, typer.Option("--wind-u", metavar="M/S", help="Its standard uncertainty.")
    ] = None,
    view: Annotated[
        float | None,
        typer.Option(
            "--view", metavar="DEG", help="Field of view between the frame's left and right edges."
        ),
    ] = None,
    view_u: Annotated[
        float | None, typer.Option("--view-u", metavar="DEG", help="Its standard uncertainty.")
    ] = None,
    lens: Annotated[
        Path | None, typer.Option("--lens", metavar="FILE.toml", help="A measured lens instead.")
    ] = None,
    size: Annotated[
        str, typer.Option("--size", metavar="WIDTHxHEIGHT", help="Frame as shown, 1920x1080.")
    ] = "",
    fps: Annotated[
        float | None, typer.Option("--fps", metavar="NUMBER", help="True frames a second, 60.")
    ] = None,
    shutter: Annotated[
        str,
        typer.Option(
            "--shutter",
            metavar="S",
            help="Shutter time, as in 1/1000; the longest usual one that does not smear the ball "
            "when left out.",
        ),
    ] = "",
    readout: Annotated[
        float | None,
        typer.Option("--readout", metavar="S", help="Rolling shutter, first to last row."),
    ] = None,
    level_u: Annotated[
        float | None,
        typer.Option("--level-u", metavar="DEG", help="How level the camera would stand."),
    ] = None,
    position_u: Annotated[
        float | None,
        typer.Option(
            "--position-u",
            metavar="M",
            help="How well its place would be taped, 0.1; 0 where it would not be.",
        ),
    ] = None,
    marker: Annotated[
        list[str] | None,
        typer.Option(
            "--marker",
            metavar="ALONG,ACROSS[,UP]",
            help="A planned marker, m; once for each. Every 10 m of the line when left out.",
        ),
    ] = None,
    pick_u: Annotated[
        float | None,
        typer.Option("--pick-u", metavar="PX", help="How well markers would be picked, 1."),
    ] = None,
    contrast: Annotated[
        float | None,
        typer.Option(
            "--contrast", metavar="STEPS", help="Ball against background, of 255 luma steps, 50."
        ),
    ] = None,
    noise: Annotated[
        float | None,
        typer.Option("--noise", metavar="STEPS", help="Scatter of a pixel, luma steps, 4."),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            metavar="FILE.png",
            help="Where the drawing goes; into the session's results when left out.",
        ),
    ] = None,
) -> None:
    """Say before filming what can be had from a place to film from, or find the best one.

    How surely exit speed, angles and carry will be known, how large the ball will be, whether all
    of the flight stays in view, how short the shutter must be, and which single change would help
    most.
    """
    from tracker.report.vantage_words import (
        changes_table,
        forecast_table,
        idle_sentence,
        moments_table,
        sentences,
    )
    from tracker.vantage import Asked, foresee_vantage

    told = foresee_vantage(
        Asked(
            session=session,
            setup=setup,
            position=position,
            position_u_m=position_u,
            aim=aim,
            view_deg=view,
            view_u_deg=view_u,
            lens=lens,
            size=size,
            fps=fps,
            shutter=shutter,
            readout_s=readout,
            level_u_deg=level_u,
            markers=tuple(marker or ()),
            pick_u_px=pick_u,
            speed_mps=speed,
            speed_u_mps=speed_u,
            angle_deg=angle,
            angle_u_deg=angle_u,
            height_m=height,
            ball=ball,
            wind=wind,
            wind_u_mps=wind_u,
            contrast=contrast,
            noise=noise,
            search=search,
            clear_m=clear,
            of=of,
            to=to,
        )
    )
    screen = console()
    found = told.vantage
    say(screen, [found.place, found.expectation, ""])
    screen.print(forecast_table(found.forecast))
    say(screen, [""])
    screen.print(moments_table(found.forecast))
    say(screen, ["", *(f"- {sentence}" for sentence in sentences(found))])
    say(screen, ["", "Single changes and the standard uncertainties that each would leave:"])
    screen.print(changes_table(found.changes, found.quantity, found.forecast.u))
    idle = idle_sentence(found)
    say(screen, [idle] if idle else [])
    say(screen, ["", "Taken for granted:", *(f"- {note}" for note in found.notes)])
    say(screen, ["", *(f"- {caution}" for caution in found.cautions)])
    if told.picture is not None:
        say(screen, [f"Picture: {told.picture}"])
    say(screen, ["", "The figures after ± are standard uncertainties.", CAUTION])
