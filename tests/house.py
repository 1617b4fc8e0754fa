"""The rules of the house, each as a function from a module's text to what breaks it."""

import ast
import io
import tokenize
from functools import cache
from itertools import pairwise
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("calibration", "tracker")

LONGEST_FILE = 400
MEDIAN_FILE = 130
LONGEST_FUNCTION = 60
MOST_PARAMETERS = 6


def sources() -> dict[str, str]:
    """Return the text of every module of the packages by its path from the root."""
    return {
        path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
        for package in PACKAGES
        for path in sorted((ROOT / package).rglob("*.py"))
    }


def lines(text: str) -> int:
    """Return how many lines a text has."""
    return len(text.splitlines())


def median_lines(texts: dict[str, str]) -> float:
    """Return the median of the modules' lines."""
    return median(lines(text) for text in texts.values())


@cache
def parsed(text: str) -> ast.Module:
    """Return the tree of a module; several rules look at it."""
    return ast.parse(text)


@cache
def nodes(text: str) -> tuple[ast.AST, ...]:
    """Return all nodes of a module's tree."""
    return tuple(ast.walk(parsed(text)))


@cache
def functions(text: str) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Return all functions and methods of a module, inner ones too."""
    return [
        each for each in nodes(text) if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def long_functions(text: str) -> list[str]:
    """Return the functions longer than `LONGEST_FUNCTION` lines, from `def` to the last line."""
    return [
        f"{each.name}: {each.end_lineno - each.lineno + 1} lines"
        for each in functions(text)
        if each.end_lineno is not None and each.end_lineno - each.lineno + 1 > LONGEST_FUNCTION
    ]


def parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    """Return the names of a function's parameters, `self` and `cls` left out, `*args` kept."""
    given = function.args
    named = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    stars = [each for each in (given.vararg, given.kwarg) if each is not None]
    return [each.arg for each in (*named, *stars) if each.arg not in ("self", "cls")]


def wide_functions(text: str) -> list[str]:
    """Return the functions with more than `MOST_PARAMETERS` parameters."""
    return [
        f"{each.name}: {len(parameters(each))} parameters"
        for each in functions(text)
        if len(parameters(each)) > MOST_PARAMETERS
    ]


def _is_number(node: ast.expr | None) -> bool:
    """Say whether an expression is made of numbers alone: 9.81, -3, 1 / 60, (0.2, 0.4)."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        return _is_number(node.left) and _is_number(node.right)
    if isinstance(node, ast.Tuple | ast.List):
        return bool(node.elts) and all(_is_number(each) for each in node.elts)
    return False


@cache
def _comments(text: str) -> dict[int, bool]:
    """Return the lines that hold a comment, and whether nothing else stands on them."""
    found = {}
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            found[token.start[0]] = token.line.lstrip().startswith("#")
    return found


def _docstring_below(block: list[ast.stmt], rows: list[str]) -> bool:
    """Say whether assignments without an empty line between them end in a docstring."""
    for each, after in pairwise(block):
        between = rows[each.end_lineno or each.lineno : after.lineno - 1]
        if any(not row.strip() for row in between):
            return False
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            return True
        if not isinstance(after, ast.Assign | ast.AnnAssign):
            return False
    return False


def bare_constants(text: str) -> list[str]:
    """Return the module constants of numbers without a word of what they are.

    The word is a comment on one of its lines, or a docstring below or a comment above, which serve
    all the constants of a block, up or down to the next empty line.
    """
    body, rows = parsed(text).body, text.splitlines()
    bare = []
    for number, each in enumerate(body):
        if isinstance(each, ast.Assign):
            value, names = each.value, [ast.unparse(target) for target in each.targets]
        elif isinstance(each, ast.AnnAssign):
            value, names = each.value, [ast.unparse(each.target)]
        else:
            continue
        if not _is_number(value):
            continue
        if _docstring_below(body[number:], rows):
            continue
        comments, last = _comments(text), each.end_lineno or each.lineno
        if any(line in comments for line in range(each.lineno, last + 1)):
            continue
        above = each.lineno - 1
        while above > 0 and rows[above - 1].strip() and not comments.get(above, False):
            above -= 1
        if not comments.get(above, False):
            bare.append(", ".join(names))
    return bare


def main() -> None:
    """Print what breaks the rules, file by file."""
    texts = sources()
    print(f"{len(texts)} files, median {median_lines(texts):g} lines, below {MEDIAN_FILE} wanted")
    for name, text in texts.items():
        broken = [*long_functions(text), *wide_functions(text)]
        broken += [f"{each}: a number without a word" for each in bare_constants(text)]
        if lines(text) > LONGEST_FILE:
            broken.insert(0, f"{lines(text)} lines")
        for each in broken:
            print(f"{name}: {each}")


if __name__ == "__main__":
    main()
