"""What is installed at run time is what the source imports, nothing less and nothing more."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.house import nodes, sources

ROOT = Path(__file__).parents[2]
OF = {"opencv-python-headless": "cv2"}
"""The name under which a distribution is imported, where it is another."""


OF_EXTRAS = {"dask": "distributed", "postgresql": "psycopg"}
"""What extras of pyproject.toml bring, imported where they are asked for only."""


def imported() -> set[str]:
    found: set[str] = set()
    for text in sources().values():
        for node in nodes(text):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - {"calibration", "tracker"}


@pytest.mark.campaign
def test_dependencies_are_the_imports_of_the_source() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {re.split(r"[<>=!~ ]", each)[0] for each in project["dependencies"]}
    assert {OF.get(name, name) for name in names} == imported() - set(OF_EXTRAS.values())
    for extra, name in OF_EXTRAS.items():
        brought = project["optional-dependencies"][extra]
        assert [re.split(r"[\[<>=!~ ]", each)[0] for each in brought] == [name]
        assert name in imported()


def test_every_dependency_has_a_lower_bound() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert [each for each in project["dependencies"] if ">=" not in each] == []


CHECK = """
import sys
from pathlib import Path
from tracker.workflow.check import check_session
assert check_session(Path(sys.argv[1]))
heavy = {"scipy", "matplotlib", "pandas", "cv2", "numpy.ma", "pydantic", "tomlkit"}
heavy |= {"tracker.records", "calibration.markers.standing"}
print(*sorted(heavy & set(sys.modules)))
"""


def test_a_check_imports_nothing_that_takes_longer_than_the_check() -> None:
    session = ROOT / "sample_clips" / "wide"
    done = subprocess.run(
        [sys.executable, "-c", CHECK, str(session)], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []
