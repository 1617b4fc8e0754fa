"""Conversion of options: typer converts, but what is plain needs no conversion.

typer loads pydantic with the first value that it converts, for 70 to 140 ms: a third of ``log
list`` among 10,000 sessions, a fifth of ``check`` (measured).
"""

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
"""A number as most people write it; every other one, and every mistake, is typer's."""


def with_plain_values(command: Any) -> Any:
    """Return a command, or a group of them, whose plain values are not converted by typer.

    Parameters
    ----------
    command : click command
        Changed in place.
    """
    given = command.get_params

    def parameters(ctx: Any) -> list[Any]:
        return plainly_valued(given(ctx))

    command.get_params = parameters
    for inner in getattr(command, "commands", {}).values():
        with_plain_values(inner)
    return command


def plainly_valued(parameters: list[Any]) -> list[Any]:
    """Return a command's parameters, those that typer adds included, changed in the same way."""
    for parameter in parameters:
        changed = "process_value" in vars(parameter)
        # Where the library keeps the type elsewhere, it converts every value itself.
        if not changed and hasattr(parameter, "type_descriptor"):
            parameter.process_value = _processing(parameter, parameter.process_value)
    return parameters


def _processing(parameter: Any, process: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    def processed(ctx: Any, value: Any) -> Any:
        plain = _plain(parameter, value)
        if plain is CONVERT:
            return process(ctx, value)
        if parameter.callback is not None:
            return parameter.callback(ctx, parameter, plain)
        return plain

    return processed


CONVERT = object()
"""Stands for a value that must be converted."""


def _plain(parameter: Any, value: Any) -> Any:
    """Return a value that needs no library, or `CONVERT`."""
    many = parameter.nargs == -1 or getattr(parameter, "multiple", False)
    if not value and parameter.required:
        return CONVERT
    if value is None:
        return () if many else None
    kind = parameter.type_descriptor.annotation
    info = parameter.type_descriptor.parameter_info
    if kind == list[Path] and many and not isinstance(value, str):
        paths = [_path(info, each) for each in value]
        return CONVERT if CONVERT in paths else paths
    single = parameter.nargs == 1 and not many
    if isinstance(kind, type) and isinstance(value, kind) and value == parameter.default:
        return value
    if not single or not isinstance(value, str):
        return CONVERT
    if kind is str:
        return value
    if kind is Path:
        return _path(info, value)
    free = info.min is None and info.max is None
    if kind is float and free and NUMBER.fullmatch(value):
        return float(value)
    return CONVERT


def _path(info: Any, value: object) -> Any:
    """Return a path of which nothing is asked that typer would check or say, or `CONVERT`."""
    asked = info.exists or info.resolve_path or info.writable or info.parser or info.allow_dash
    if asked or not (info.file_okay and info.dir_okay) or info.path_type is not None:
        return CONVERT
    if not isinstance(value, str) or not value.isprintable():
        return CONVERT
    if Path(value).exists() and not os.access(value, os.R_OK):
        return CONVERT
    return Path(value)
