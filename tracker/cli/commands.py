"""The commands by name; the module of one is imported when it is asked for."""

from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Any

import typer

from tracker.cli.conversion import with_plain_values
from tracker.cli.modes import with_modes

WITH_DATA = frozenset(
    {
        *("demo", "vantage", "check", "lens", "calibrate", "markers"),
        *("measure", "watch", "review", "predict", "compare", "plan"),
    }
)
"""Commands that print tables, which --json replaces with data."""

NAMES = (
    *("demo", "vantage", "new", "still", "check", "lens", "calibrate", "markers"),
    *("measure", "watch", "review", "predict", "compare", "plan", "simulate"),
    *("report", "overlay", "open", "log"),
)
"""All commands, in the order of a job. Each has a module of its name, and there a function of its
name or, for several commands in one, a `typer.Typer`."""

_FUNCTIONS = {"open": "open_page"}
"""What is not called by the name of its command, since Python has that name."""


class Commands(MutableMapping[str, Any]):
    """Every command by its name, made when it is first asked for.

    A command that runs imports no other, which takes a tenth of a second for all.
    """

    def __init__(self) -> None:
        self._made: dict[str, Any] = dict.fromkeys(NAMES)

    def __getitem__(self, name: str) -> Any:
        if self._made[name] is None:
            self._made[name] = made(name)
        return self._made[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._made[name] = command

    def __delitem__(self, name: str) -> None:
        del self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)


def made(name: str) -> Any:
    """Return a command by its name, as the command line's library wants it."""
    found = getattr(import_module(f"tracker.cli.{name}"), _FUNCTIONS.get(name, name))
    if isinstance(found, typer.Typer):
        group: Any = with_plain_values(typer.main.get_command(found))
        group.short_help = found.info.help
        return group
    alone = typer.Typer(rich_markup_mode=None, add_completion=False, pretty_exceptions_enable=False)
    # The first line of a command's help is what the list of commands shows, whole.
    first_line = (found.__doc__ or "").partition("\n")[0]
    alone.command(name, short_help=first_line)(with_modes(found, data=name in WITH_DATA))
    return with_plain_values(typer.main.get_command(alone))
