"""The program: its commands, its version, and how faults are printed."""

import errno
import gc
import io
import os
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from calibration.errors import InputError
from tracker.cli import INTERRUPTED
from tracker.cli.commands import Commands
from tracker.cli.conversion import plainly_valued
from tracker.cli.numbers import number_fault
from tracker.cli.screen import complain, prepare_console

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

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.commands = Commands()

    def invoke(self, ctx: Any) -> Any:
        given = [*ctx._protected_args, *ctx.args]
        try:
            try:
                return super().invoke(ctx)
            finally:
                sys.stdout.flush()
        except typer.BadParameter as error:
            found = number_fault(error.param, given, str(error.message))
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
            complain([INTERRUPTED])
            raise typer.Exit(130) from None

    def get_params(self, ctx: Any) -> Any:
        return plainly_valued(super().get_params(ctx))

    def make_context(self, *given: Any, **more: Any) -> Any:
        try:
            return super().make_context(*given, **more)
        except KeyboardInterrupt:
            complain([INTERRUPTED])
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


BLAS_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Matrices here have tens of rows: threads that wait for one another cost more than they save. How
many share a sum also decides its last bits, and a clip gives the same bytes on every day."""


OBJECTS_BETWEEN_COLLECTIONS = 10_000
"""New objects after which Python looks for garbage, 700 unless set: loading libraries makes many
and keeps them, and the search takes a tenth of a short command (measured)."""


def run() -> None:
    """Run the command line."""
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    for library in BLAS_THREADS:
        os.environ[library] = "1"
    prepare_console()
    program()
