"""A fault put into a program that runs: functions get the changed code, wherever they are held."""

import ast
import importlib
import inspect
import sys
from types import FunctionType, ModuleType
from typing import Any


def can_be_swapped(text: str, line: int) -> bool:
    """Return whether a line stands in a function's body, or gives a number of the module a name.

    What else runs when a module is imported (decorators, fields, classes) is imported anew.
    """
    tree = ast.parse(text)
    inside = any(
        node.body[0].lineno <= line <= (node.end_lineno or node.lineno)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
    )
    return inside or any(
        node.lineno <= line <= (node.end_lineno or node.lineno)
        for node in tree.body
        if isinstance(node, ast.Assign | ast.AnnAssign)
    )


def swap(name: str, text: str) -> None:
    """Give the functions and the numbers of an imported module those of another text of it.

    Every module that took a number over by its name gets the new one.
    """
    module = importlib.import_module(name)
    changed = ModuleType(name)
    changed.__dict__.update(
        {each: module.__dict__[each] for each in ("__file__", "__package__", "__spec__")}
    )
    exec(compile(text, str(module.__file__), "exec"), changed.__dict__)
    _swap_all(vars(module), vars(changed), name)
    for key, value in vars(changed).items():
        held = vars(module).get(key)
        if _is_data(value) and repr(value) != repr(held):
            for other in list(sys.modules.values()):
                if getattr(other, "__dict__", {}).get(key) is held:
                    setattr(other, key, value)


def _is_data(value: Any) -> bool:
    """Say whether a value is one that its text describes: numbers, arrays, tables of them."""
    return not callable(value) and not isinstance(value, ModuleType) and " at 0x" not in repr(value)


def _swap_all(old: Any, new: Any, name: str) -> None:
    for key, value in list(new.items()):
        held = old.get(key)
        if isinstance(value, type) and value.__module__ == name and isinstance(held, type):
            _swap_all(vars(held), vars(value), name)
        for before, after in zip(_functions(held), _functions(value), strict=False):
            if before.__module__ == name and before.__code__ != after.__code__:
                before.__code__ = after.__code__
            if before.__module__ == name:
                before.__defaults__ = after.__defaults__


def _functions(value: Any) -> list[FunctionType]:
    """Return the functions behind a value: plain, decorated, or of a property or a method."""
    if isinstance(value, property):
        return [each for part in (value.fget, value.fset) for each in _functions(part)]
    if isinstance(value, classmethod | staticmethod):
        return _functions(value.__func__)
    if hasattr(value, "func") and isinstance(value.func, FunctionType):  # a cached property
        return [value.func]
    if callable(value):
        value = inspect.unwrap(value)
    return [value] if isinstance(value, FunctionType) else []
