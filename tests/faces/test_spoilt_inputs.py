"""Spoilt inputs end in a sentence: no traceback, no hang, no flood of memory, no stray file.

Six of each kind, from a seed, fourteen more in the campaign, two hundred in the long tests;
thousands by
``python -m tests.fuzz``.
"""

import sys

import pytest

if sys.platform != "linux":
    pytest.skip(
        "each input is tried in a forked process of bounded memory", allow_module_level=True
    )

from tests.fuzz.__main__ import KINDS, run
from tests.fuzz.cases import Case, prepared
from tracker.session.mistakes import mistake, valid


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("first", "count"),
    [
        (0, 6),
        pytest.param(6, 14, marks=pytest.mark.campaign),
        *(pytest.param(first, 50, marks=pytest.mark.long) for first in (20, 70, 120, 170)),
    ],
)
def test_no_spoilt_input_ends_in_more_than_a_sentence(kind: str, first: int, count: int) -> None:
    assert run(kind, first, count, seed=1) == []


@pytest.mark.parametrize(
    "kind",
    ["text", *(pytest.param(kind, marks=pytest.mark.campaign) for kind in KINDS if kind != "text")],
)
def test_the_same_number_spoils_the_same(kind: str, tmp_path) -> None:
    made = []
    for name in ("one", "two", "sound"):
        prepared(tmp_path / name / "lane")
    for name in ("one", "two"):
        Case(kind, 7, 1).made(tmp_path / name / "lane")
        files = sorted(path for path in (tmp_path / name).rglob("*") if path.is_file())
        made.append([path.read_bytes() for path in files])
    sound = sorted(path for path in (tmp_path / "sound").rglob("*") if path.is_file())
    assert made[0] == made[1] != [path.read_bytes() for path in sound]


@pytest.mark.parametrize("value", ["x" * 5000, "x\x00\x00"])
def test_a_value_that_no_person_wrote_is_not_repeated(value: str) -> None:
    assert mistake(f'name = "{value}') is None
    assert mistake(f"{'9' * len(value) * 300} =") is None
    assert mistake(f"[{'9' * len(value) * 300}") is None
    assert not valid("number = " + "9" * 5000)
    assert mistake('name = "Fen Lane') == (
        "name",
        "the quotes are not closed",
        'write name = "Fen Lane"',
    )
