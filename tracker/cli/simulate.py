"""``lobmeter simulate``."""

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import typed
from tracker.cli.progress import progress_bar
from tracker.cli.screen import console, say


def simulate(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where the session is written.")],
    recipe: Annotated[
        str,
        typer.Option(
            help="What the session shows: wide, wide_30, wide_120, close, three_wheels, setups, "
            "turned, spins, quiet, or one hardship: far, dim, uhd, windy, drift, grain, sway, "
            "hand_held, knocked, people, dog, birds, trees, cloud_shadows, open_wheels, overlap, "
            "apex_out, long_grass, flock, passers, fetchers, insects, leaves, crowd."
        ),
    ] = "wide",
    seed: Annotated[int, typer.Option(min=0, help="The same seed draws the same session.")] = 1,
    change: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NAME=NUMBER",
            help="Set a number of the recipe, for instance shots=5, exit_speed_mps=20, "
            "camera_away_m=40, fps=30 or megabits=4; may be given several times.",
        ),
    ] = None,
    without_shots: Annotated[
        bool, typer.Option("--without-shots", help="The same scene with nobody firing.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace a session that DIR holds already.")
    ] = False,
) -> None:
    """Draw a session whose truth is known, to try settings on or to teach with.

    Writes clips, session.toml and truth.json into DIR: what a person would have filmed and
    taped, and beside it the true speed, angle, landing and carry of every shot. Drawing takes
    one to two minutes for each minute of film. docs/simulate.md lists all recipes and numbers.
    """
    from tracker.workflow.simulate import SimulateOptions, numbers
    from tracker.workflow.simulate import simulate as draw

    options = SimulateOptions(recipe, seed, numbers(change or []), not without_shots, replace)
    screen = console()
    with progress_bar(console(to_stderr=True)) as report:
        clips = draw(folder, options, report)
    for clip in clips:
        count = {0: "no shot", 1: "1 shot"}.get(len(clip.shots), f"{len(clip.shots)} shots")
        say(screen, [f"{clip.file}, {clip.setup}: {clip.frames} frames, {count}"])
        for number, shot in enumerate(clip.shots, start=1):
            say(
                screen,
                [
                    f"  {number}: {shot['exit_speed_mps']:.2f} m/s at "
                    f"{shot['launch_angle_deg']:.1f}°, carry {shot['carry_m']:.2f} m"
                ],
            )
    say(screen, ["", f"Session: {folder}", f"Measure it: lobmeter measure {typed(folder)}"])
