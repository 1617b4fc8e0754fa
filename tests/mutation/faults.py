"""Faults drawn at random from all that cosmic-ray's operators can make of a file."""

import ast
import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Fault:
    """One small change of one file.

    Attributes
    ----------
    file : str
        From the root, with forward slashes.
    line : int
    operator : str
        Of cosmic-ray, and which of its occurrences in the file.
    occurrence : int
    """

    file: str
    line: int
    operator: str
    occurrence: int

    @property
    def name(self) -> str:
        """What a report calls it, the same in every run on the same code."""
        return f"{self.file}:{self.line} {self.operator}#{self.occurrence}"

    def applied(self, text: str) -> str:
        """Return the text of the file with this fault in it."""
        from cosmic_ray.mutating import mutate_code

        changed = mutate_code(text, _operators()[self.operator](), self.occurrence)
        if changed is None:
            raise ValueError(f"{self.name} is no fault of this text")
        return str(changed)


def faults_of(root: Path, file: str) -> Iterator[tuple[tuple[int, int], Fault]]:
    """Yield every fault of a file with the place (line, column) where it is.

    Left out is what runs never: annotations and the docstring's neighbours of `TYPE_CHECKING`.
    """
    from cosmic_ray.ast import ast_nodes, get_ast

    text = (root / file).read_text(encoding="utf-8")
    nodes = list(ast_nodes(get_ast(text)))
    idle = _idle(ast.parse(text))
    for name, operator in _operators().items():
        number = -1
        for node in nodes:
            for start, _ in operator().mutation_positions(node):
                number += 1
                if not any(first <= start <= last for first, last in idle):
                    yield start, Fault(file, start[0], name, number)


def drawn(root: Path, files: list[str], count: int, seed: int) -> list[Fault]:
    """Draw faults: the place first, each as likely, then one of what may happen there.

    Otherwise an arithmetical operator, which can become eleven others, would be all that is tried.
    A place at which cosmic-ray fails (a dotted name after `except`) is left out.
    """
    places: dict[tuple[str, int, int], list[Fault]] = defaultdict(list)
    for file in files:
        for (line, column), fault in faults_of(root, file):
            places[file, line, column].append(fault)
    rng = random.Random(seed)
    chosen = rng.sample(sorted(places), min(count, len(places)))
    found = [rng.choice(places[place]) for place in chosen]
    texts = {file: (root / file).read_text(encoding="utf-8") for file in files}
    return [each for each in found if _can_be_put_in(each, texts[each.file])]


def _can_be_put_in(fault: Fault, text: str) -> bool:
    try:
        fault.applied(text)
    except AttributeError:
        return False
    return True


def _operators() -> dict[str, type]:
    # cosmic-ray reads its own plugins by entry points, which fails unless parso came first.
    import parso  # noqa: F401
    from cosmic_ray.operators.provider import OperatorProvider

    provider = OperatorProvider()
    return {name: provider[name] for name in sorted(provider) if not provider[name].arguments()}


def _idle(tree: ast.Module) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Return from where to where annotations and type aliases stand."""
    found: list[ast.expr] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            found.append(node.annotation)
        elif isinstance(node, ast.FunctionDef) and node.returns is not None:
            found.append(node.returns)
        elif isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript):
            names = [each.id for each in node.targets if isinstance(each, ast.Name)]
            if names and all(name[0].isupper() and not name.isupper() for name in names):
                found.append(node.value)  # Array = NDArray[np.float64]
    return [
        ((node.lineno, node.col_offset), (node.end_lineno or 0, node.end_col_offset or 0))
        for node in found
    ]
