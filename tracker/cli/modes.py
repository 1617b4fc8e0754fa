"""How much a command prints: options that every command has."""

import inspect
import logging
import sys
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from functools import wraps
from typing import Annotated, Any, get_type_hints

import typer


@dataclass(frozen=True)
class Mode:
    """What a command prints.

    Attributes
    ----------
    quiet : bool
        Nothing but faults, and data where it is asked for.
    json : bool
        Data in place of tables.
    """

    quiet: bool = False
    json: bool = False

    @property
    def silent(self) -> bool:
        """Whether tables and sentences are left out."""
        return self.quiet or self.json


LOUD = Mode()
_MODE: ContextVar[Mode] = ContextVar("mode", default=LOUD)

Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but faults.")]
Verbose = Annotated[bool, typer.Option("--verbose", "-v", help="Log each step to stderr.")]
Json = Annotated[bool, typer.Option("--json", help="Print data for other programs, no tables.")]


def mode() -> Mode:
    """Return how much the command that is running prints."""
    return _MODE.get()


def with_modes(command: Callable[..., None], data: bool = False) -> Callable[..., None]:
    """Return a command with --quiet, --verbose and, where it has data, --json.

    Parameters
    ----------
    command : callable
    data : bool
        Whether it can print data in place of its tables.
    """
    hints = get_type_hints(command, include_extras=True)
    own = [
        one.replace(annotation=hints.get(one.name, one.annotation), kind=one.KEYWORD_ONLY)
        for one in inspect.signature(command).parameters.values()
    ]
    added = {"quiet": Quiet, "verbose": Verbose} | ({"json": Json} if data else {})
    parameters = own + [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=kind)
        for name, kind in added.items()
    ]

    @wraps(command)
    def called(**given: Any) -> None:
        chosen = {name: bool(given.pop(name)) for name in added}
        if chosen.pop("verbose"):
            log_to_stderr()
        token = _MODE.set(Mode(**chosen))
        try:
            command(**given)
        finally:
            _MODE.reset(token)

    called.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    called.__annotations__ = {one.name: one.annotation for one in parameters}
    return called


def with_data(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command with --quiet, --verbose and --json."""
    return with_modes(command, data=True)


def log_to_stderr() -> None:
    """Send the log of every step to standard error, each line with its time."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s", "%H:%M:%S"))
    logger = logging.getLogger("tracker")
    logger.handlers = [handler]
    logger.setLevel(logging.INFO)
