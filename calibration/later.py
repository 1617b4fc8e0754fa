"""Packages whose parts are imported when their names are first asked for.

A command that reads one file does not wait for what draws another: the parts of a package that few
commands need are named with `later`, and beside it, for readers and for type checkers, imported
under ``TYPE_CHECKING``.
"""

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def later(package: str, names: Mapping[str, str]) -> Callable[[str], Any]:
    """Return the ``__getattr__`` of a package that imports its parts when they are asked for.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    names : mapping of str to str
        For each of its modules, by name, what the package has from it, apart by blanks. A module
        must not have a name of its package's: importing it would put it in the name's place.
    """
    homes = {name: module for module, held in names.items() for name in held.split()}

    def found(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(f"{package}.{homes[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return found
