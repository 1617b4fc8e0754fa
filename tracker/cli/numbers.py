"""Numbers on the command line that are none, are out of range, or have a decimal comma."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

NUMBER = re.compile(r"[-+]?\d+,\d+")

KINDS = {"valid integer": ("whole number", int, "2"), "valid number": ("number", float, "2.5")}
"""By what the library says: a kind of number, what reads it, and an example."""

BOUND = re.compile(r"should be (greater|less) than( or equal to)? (\S+)$")


def number_fault(option: Any, given: Sequence[str], said: str) -> str | None:
    """Return the sentence for an option or argument whose number was refused.

    None where it was refused for something else.

    Parameters
    ----------
    option : parameter of a command, or None
        That was refused.
    given : sequence of str
        The command line.
    said : str
        The sentence of the library that refused it.
    """
    named = next(iter(getattr(option, "opts", ())), "")
    where = named if named.startswith("-") else getattr(option, "metavar", None) or named
    values = list(_values(option, given))
    for value in filter(NUMBER.fullmatch, values):
        return f"{where}: {value} has a decimal comma; write {value.replace(',', '.')}."
    for kind, (called, read, example) in KINDS.items():
        if kind in said:
            wrong = next(
                (f'"{value}" is' for value in values if not _reads(read, value)), "that is"
            )
            return f"{where}: {wrong} no {called}; write one, for instance {example}."
    bound = BOUND.search(said)
    if bound is None:
        return None
    small, equal, limit = bound[1] == "greater", bool(bound[2]), bound[3]
    wrong = next((f"{value} is" for value in values if _reads(float, value)), "that is")
    size = "small" if small else "large"
    beyond = (
        f"{limit} or {'more' if small else 'less'}"
        if equal
        else (f"{'more' if small else 'less'} than {limit}")
    )
    return f"{where}: {wrong} too {size}; write {beyond}."


def _values(option: Any, given: Sequence[str]) -> Iterator[str]:
    """Yield the words of the command line that may be a parameter's value."""
    names = [name for name in getattr(option, "opts", ()) if name.startswith("-")]
    for place, word in enumerate(given):
        if any(word.startswith(f"{name}=") for name in names):
            yield word.partition("=")[2]
        if word in names:
            yield from given[place + 1 : place + 1 + option.nargs]
    if not names:
        # An argument stands last among the words that are no option's.
        yield from [word for word in given if not word.startswith("--")][-1:]


def _reads(read: Any, value: str) -> bool:
    try:
        read(value)
    except ValueError:
        return False
    return True
