"""The program: its commands, its version, and how faults are printed."""

import errno
import io
import os
import sys
from collections.abc import Callable
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from calibration.errors import InputError
from tracker.cli.calibrate import calibrate
from tracker.cli.check import check
from tracker.cli.compare import compare
from tracker.cli.decimals import decimal_comma
from tracker.cli.demo import demo
from tracker.cli.lens import lens
from tracker.cli.log import log
from tracker.cli.markers import markers
from tracker.cli.measure import measure
from tracker.cli.modes import with_modes
from tracker.cli.new import new
from tracker.cli.open import open_page
from tracker.cli.overlay import overlay
from tracker.cli.plan import plan
from tracker.cli.predict import predict
from tracker.cli.report import report
from tracker.cli.review import review
from tracker.cli.screen import complain, prepare_console
from tracker.cli.simulate import simulate
from tracker.cli.still import still
from tracker.cli.vantage import vantage
from tracker.cli.watch import watch

ABOUT = (
    "Film a ball launcher from the side; get every shot's exit speed, launch angle, azimuth, "
    "carry, apex and flight time, each with a standard uncertainty."
)
CAUTION = (
    "Flying balls and spinning wheels hurt people and animals. Keep the field clear, guard the "
    "wheels, and follow local rules and qualified people."
)


class _Program(TyperGroup):
    """Prints faults as sentences; exits with 2 for an input, with 130 when interrupted."""

    def invoke(self, ctx: Any) -> Any:
        given = [*ctx._protected_args, *ctx.args]
        try:
            try:
                return super().invoke(ctx)
            finally:
                sys.stdout.flush()
        except typer.BadParameter as error:
            found = decimal_comma(error.param, given)
            if found is None:
                raise
            complain([found])
            raise typer.Exit(2) from None
        except OSError as error:
            if error.errno == errno.EPIPE:  # a reader such as head has seen enough
                raise
            complain([_unusable(error)])
            raise typer.Exit(2) from None
        except InputError as error:
            complain(error.sentences())
            raise typer.Exit(2) from None
        except KeyboardInterrupt:
            complain(["Interrupted. What was there before is as it was."])
            raise typer.Exit(130) from None


def _unusable(error: OSError) -> str:
    """Return the sentence for a file, or for the output itself, that the system refuses."""
    reason = (error.strerror or "unknown").lower()
    if error.filename is not None:
        return (
            f"{error.filename}: cannot be used ({reason}); check its name, rights and free space."
        )
    # What is still to be written would fail again when Python ends.
    sys.stdout = io.StringIO()
    return f"The output cannot be written ({reason}); check where it goes."


program = typer.Typer(
    cls=_Program,
    name="lobmeter",
    help=ABOUT,
    epilog=CAUTION,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _show_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"lobmeter {version('lobmeter')}")
        raise typer.Exit


@program.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Print the version and leave."
        ),
    ] = False,
) -> None:
    pass


def _first_line(command: Callable[..., None]) -> str:
    """Return the first line of a command's help, which the list of commands shows whole."""
    return (command.__doc__ or "").partition("\n")[0]


WITH_DATA = (
    *(demo, vantage, check, lens, calibrate, markers),
    *(measure, watch, review, predict, compare, plan),
)
"""Commands that print tables, which --json replaces with data."""

for command in (
    demo,
    vantage,
    new,
    still,
    check,
    lens,
    calibrate,
    markers,
    measure,
    watch,
    review,
    predict,
    compare,
    plan,
    simulate,
    report,
    overlay,
):
    program.command(short_help=_first_line(command))(with_modes(command, data=command in WITH_DATA))
program.command("open", short_help=_first_line(open_page))(with_modes(open_page))
program.add_typer(log, short_help=log.info.help)


BLAS_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Matrices here have tens of rows: threads that wait for one another cost more than they save."""


def main() -> None:
    """Run the command line."""
    for library in BLAS_THREADS:
        os.environ.setdefault(library, "1")
    prepare_console()
    program()
