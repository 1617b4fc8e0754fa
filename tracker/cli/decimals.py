"""Numbers that were written with a decimal comma."""

import re
from collections.abc import Sequence
from typing import Any

NUMBER = re.compile(r"[-+]?\d+,\d+")


def decimal_comma(option: Any, given: Sequence[str]) -> str | None:
    """Return the sentence for an option whose number has a decimal comma, None where none has.

    Parameters
    ----------
    option : parameter of a command, or None
        That was refused.
    given : sequence of str
        The command line.
    """
    for name in getattr(option, "opts", ()):
        for place, word in enumerate(given):
            values = [word.partition("=")[2]] if word.startswith(f"{name}=") else []
            if word == name:
                values = list(given[place + 1 : place + 1 + option.nargs])
            for value in filter(NUMBER.fullmatch, values):
                point = value.replace(",", ".")
                return f"{name}: {value} has a decimal comma; write {point}."
    return None
