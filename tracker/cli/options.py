"""Options of a command as the fields of a dataclass, so that a command takes few parameters."""

import inspect
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import wraps
from typing import Any, get_type_hints


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command in which each parameter that is a dataclass becomes one option a field.

    The fields are annotated as parameters of a command are: ``Annotated[bool, typer.Option(…)]``.

    Parameters
    ----------
    command : callable
        Its docstring and its other parameters stay as they are.
    """
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {}
    parameters: list[inspect.Parameter] = []
    for one in inspect.signature(command).parameters.values():
        held = hints[one.name]
        if not is_dataclass(held):
            parameters.append(one.replace(annotation=held, kind=inspect.Parameter.KEYWORD_ONLY))
            continue
        groups[one.name] = held
        inner = get_type_hints(held, include_extras=True)
        parameters += [
            inspect.Parameter(
                each.name,
                inspect.Parameter.KEYWORD_ONLY,
                default=each.default,
                annotation=inner[each.name],
            )
            for each in fields(held)
        ]

    @wraps(command)
    def called(**given: Any) -> None:
        made = {
            name: held(**{each.name: given.pop(each.name) for each in fields(held)})
            for name, held in groups.items()
        }
        command(**given, **made)

    signature = inspect.Signature(parameters)
    called.__signature__ = signature  # type: ignore[attr-defined]
    called.__annotations__ = {one.name: one.annotation for one in parameters}
    return called
