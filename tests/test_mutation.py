"""The tool that puts faults into the code draws real ones, and picks the tests that may notice."""

import importlib
from pathlib import Path

import pytest

pytest.importorskip("cosmic_ray")

from tests.mutation.__main__ import summary
from tests.mutation.faults import Fault, drawn, faults_of
from tests.mutation.swap import can_be_swapped, swap
from tests.mutation.trial import suspects

TEXT = """\
Array = dict[str, int]
BOUND = 3.0


def inside(x: float | None, y: Array) -> float | None:
    return x if x < BOUND else -x
"""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "code.py").write_text(TEXT, encoding="utf-8")
    return tmp_path


def test_faults_stand_where_code_runs(root: Path) -> None:
    found = [fault for _, fault in faults_of(root, "code.py")]
    assert {fault.line for fault in found} == {2, 6}
    changed = {fault.applied(TEXT) for fault in found}
    assert len(changed) == len(found) and TEXT not in changed
    assert TEXT.replace("3.0", "4.0") in changed
    assert TEXT.replace("x < BOUND", "x <= BOUND") in changed


def test_the_same_seed_draws_the_same_faults(root: Path) -> None:
    assert drawn(root, ["code.py"], 3, 5) == drawn(root, ["code.py"], 3, 5)
    assert len({(fault.line, fault.name) for fault in drawn(root, ["code.py"], 3, 5)}) == 3


KNOWN = {
    "lines": {"code.py": {"1": [], "2": [], "6": ["test_b.py"], "7": ["test_a.py"]}},
    "seconds": {"test_a.py::one": 1.0, "test_b.py::slow": 9.0, "test_b.py::quick": 0.1},
}


@pytest.mark.parametrize(
    ("line", "tests"),
    [
        (6, ["test_b.py::quick", "test_b.py::slow"]),
        (2, ["test_b.py::quick", "test_a.py::one", "test_b.py::slow"]),
        (8, []),
    ],
)
def test_the_tests_that_reach_a_line_are_tried_cheapest_first(line: int, tests: list[str]) -> None:
    assert suspects(Fault("code.py", line, "NumberReplacer", 0), KNOWN) == tests


def test_the_summary_has_its_interval() -> None:
    """Wilson's interval of 5 of 10 is 24 to 76 %, as his formula gives by hand."""
    tried = (
        [{"outcome": "killed"}] * 4 + [{"outcome": "out of time"}] + [{"outcome": "no test"}] * 5
    )
    assert summary(tried) == "5 of 10 faults noticed: 50% (24% to 76%)"


def test_a_module_of_constants_alone_is_anybody_s() -> None:
    known = {**KNOWN, "lines": {"code.py": {"2": []}}}
    assert len(suspects(Fault("code.py", 2, "NumberReplacer", 0), known)) == 3
    assert suspects(Fault("code.py", 6, "NumberReplacer", 0), known) == []


def test_a_running_module_gets_the_changed_code_wherever_it_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = (
        "from functools import cached_property\n"
        "BOUND = 2.0\n"
        "def twice(x, by=BOUND):\n    return by * x\n"
        "class Held:\n"
        "    @property\n    def bound(self):\n        return BOUND + 1.0\n"
        "    @cached_property\n    def kept(self):\n        return 5.0\n"
        "    @classmethod\n    def made(cls):\n        return 7.0\n"
    )
    (tmp_path / "swapped.py").write_text(text, encoding="utf-8")
    user = "from swapped import BOUND, Held, twice\n"
    (tmp_path / "swapped_user.py").write_text(user, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    held = importlib.import_module("swapped_user")
    one = held.Held()
    changed = text.replace("by * x", "by + x").replace("BOUND + 1.0", "BOUND - 1.0")
    changed = changed.replace("BOUND = 2.0", "BOUND = 3.0").replace("5.0", "6.0")
    swap("swapped", changed.replace("7.0", "8.0"))
    assert (held.twice(4.0), held.BOUND, one.bound, one.kept, one.made()) == (7, 3, 2, 6, 8)


def test_what_runs_at_import_alone_is_imported_anew() -> None:
    text = "@decorated\nclass A:\n    x = 1\n\n    def f(self):\n        return 1\n\n\nB = 2\n"
    assert [can_be_swapped(text, line) for line in (1, 3, 5, 6, 9)] == [
        False, False, False, True, True,
    ]  # fmt: skip
