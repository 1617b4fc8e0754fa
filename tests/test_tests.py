"""Every test asserts something, whatever way it takes through its own code."""

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
FILES = sorted(TESTS.rglob("test_*.py"))
ASSERTING_CALLS = ("raises", "warns", "fail", "deprecated_call")


def asserting_functions(tree: ast.AST) -> set[str]:
    """Return the names of functions that hold an assertion and so may make one for a test."""
    return {
        each.name
        for each in ast.walk(tree)
        if isinstance(each, ast.FunctionDef)
        and any(isinstance(inner, ast.Assert) or _asserts(inner, set()) for inner in ast.walk(each))
    }


def _asserts(node: ast.AST, helpers: set[str]) -> bool:
    """Say whether a call asserts: of pytest, numpy, Playwright, or a helper that does."""
    if not isinstance(node, ast.Call):
        return False
    if isinstance(node.func, ast.Attribute) and _is_expected(node.func.value):
        return node.func.attr.startswith(("to_", "not_to_"))
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    return name in ASSERTING_CALLS or name in helpers or name.startswith("assert_")


def _is_expected(node: ast.expr) -> bool:
    """Say whether an expression is Playwright's ``expect(...)``."""
    return isinstance(node, ast.Call) and getattr(node.func, "id", "") == "expect"


def always_asserts(body: list[ast.stmt], helpers: set[str]) -> bool:
    """Say whether every way through the statements meets an assertion.

    An assertion inside an `if` without `else`, after an early return, or inside an `except` is on
    some ways only. The body of a loop counts: whether the loop runs is for the test to assert.
    """
    for each in body:
        if isinstance(each, ast.Assert):
            return True
        if isinstance(each, ast.If):
            ways = (each.body, each.orelse)
            if each.orelse and all(always_asserts(way, helpers) for way in ways):
                return True
            if any(isinstance(inner, (ast.Return, ast.Continue)) for inner in ast.walk(each)):
                return False
        elif isinstance(each, (ast.For, ast.While)):
            if always_asserts(each.body, helpers):
                return True
        elif isinstance(each, ast.With):
            managers = [item.context_expr for item in each.items]
            if any(_asserts(manager, helpers) for manager in managers):
                return True
            if always_asserts(each.body, helpers):
                return True
        elif isinstance(each, ast.Try):
            if always_asserts(each.body, helpers) or always_asserts(each.finalbody, helpers):
                return True
        elif not isinstance(each, (ast.FunctionDef, ast.ClassDef)) and any(
            _asserts(inner, helpers) for inner in ast.walk(each)
        ):
            return True
    return False


def without_assertion(text: str) -> list[str]:
    """Return the names of the tests in a module's text that may pass without asserting."""
    tree = ast.parse(text)
    helpers = asserting_functions(tree)
    return [
        each.name
        for each in ast.walk(tree)
        if isinstance(each, ast.FunctionDef)
        and each.name.startswith("test_")
        and not always_asserts(each.body, helpers)
    ]


@pytest.mark.campaign
def test_every_test_asserts_something() -> None:
    assert len(FILES) > 200
    idle = {path.name: without_assertion(path.read_text(encoding="utf-8")) for path in FILES}
    assert {name: tests for name, tests in idle.items() if tests} == {}


IDLE = {
    "nothing": "run()",
    "in an if": "if found:\n  assert found",
    "in one branch": "if found:\n  assert found\nelse:\n  pass",
    "after a return": "if lost:\n  return\nassert found",
    "after a continue": "for each in all:\n  if lost:\n    continue\n  assert each",
    "in an if in a loop": "for each in all:\n  if each:\n    assert each",
    "in an except": "try:\n  run()\nexcept ValueError:\n  assert found",
    "expected of nothing": "expect(found)",
    "in a function that is not called": "def check():\n  assert found",
}
BUSY = {
    "plainly": "assert found",
    "in both branches": "if found:\n  assert found\nelse:\n  assert lost",
    "after an if": "if found:\n  found = 1\nassert found",
    "that it raises": "with pytest.raises(ValueError):\n  run()",
    "in a loop": "for each in all:\n  assert each",
    "by numpy": "np.testing.assert_array_equal(a, b)",
    "by a helper": "helper(found)",
    "in the browser": "expect(found).not_to_be_visible()",
}
HELPER = "def helper(x):\n  assert x\n"


def module(body: str) -> str:
    """Return a module with one test of that body."""
    lines = "\n".join("  " + line for line in body.splitlines())
    return f"{HELPER}def test_it():\n{lines}\n"


@pytest.mark.parametrize("case", IDLE)
def test_an_idle_test_is_seen(case: str) -> None:
    assert without_assertion(module(IDLE[case])) == ["test_it"]


@pytest.mark.parametrize("case", BUSY)
def test_a_busy_test_is_let_by(case: str) -> None:
    assert without_assertion(module(BUSY[case])) == []
