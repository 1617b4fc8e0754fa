"""The rules of the house hold over both packages: sizes, parameters, and a word for each number."""

import pytest

from tests.house import (
    LONGEST_FILE,
    MEDIAN_FILE,
    bare_constants,
    lines,
    long_functions,
    median_lines,
    sources,
    wide_functions,
)

SOURCES = sources()


def by_file(rule) -> dict[str, list[str]]:
    """Return what breaks a rule, by file."""
    return {name: broken for name, text in SOURCES.items() if (broken := rule(text))}


def test_both_packages_are_looked_at() -> None:
    assert {name.split("/")[0] for name in SOURCES} == {"calibration", "tracker"}
    assert len(SOURCES) > 100


def test_no_file_is_long() -> None:
    assert {name: lines(text) for name, text in SOURCES.items() if lines(text) > LONGEST_FILE} == {}


def test_most_files_fit_on_two_screens() -> None:
    assert median_lines(SOURCES) < MEDIAN_FILE


@pytest.mark.campaign
def test_no_function_needs_a_map() -> None:
    assert by_file(long_functions) == {}


def test_no_function_takes_more_than_six() -> None:
    assert by_file(wide_functions) == {}


def test_every_number_says_what_it_is() -> None:
    assert by_file(bare_constants) == {}


def test_lengths_are_counted_from_def_to_the_last_line() -> None:
    body = "    x = 1\n"
    assert long_functions("def brief():\n" + body * 59) == []
    assert long_functions("class A:\n  def long(self):\n" + body * 60) == ["long: 61 lines"]
    assert long_functions("@wrapped\n\ndef brief():\n" + body * 59) == []


def test_parameters_are_counted_without_self_and_with_stars() -> None:
    assert wide_functions("class A:\n  def f(self, a, b, c, d, e, f): pass") == []
    assert wide_functions("def f(a, b, c, /, d, *e, f, **g): pass") == ["f: 7 parameters"]
    assert wide_functions("def f(a, b, c, d, e, *, f, g=1): pass") == ["f: 7 parameters"]


def test_the_median_is_that_of_the_lines() -> None:
    assert median_lines({"a": "1\n", "b": "1\n2\n", "c": "1\n" * 9}) == 2


@pytest.mark.parametrize(
    "text",
    [
        "A = 1.0",
        "A: float = 1.0",
        "A = -1",
        "A = 1 / 60",
        "A, B = 0.2, 0.3",
        "A = (1, (2.0, 3))",
        '"""Module."""\n\nA = 1',
        "# Far above.\n\nA = 1",
        'A = 1\n\nB = 2\n"""Only of B."""',
        'A = 1\ndef f():\n  """Of f."""',
    ],
)
def test_a_bare_number_is_seen(text: str) -> None:
    assert len(bare_constants(text)) == 1


@pytest.mark.parametrize(
    "text",
    [
        'A = 1.0\n"""Metres, measured."""',
        'A = 1.0\nB = 2.0\n"""Metres, both measured."""',
        "A = 1.0  # metres, measured",
        "# Metres, measured.\nA = 1.0",
        "# Metres, both measured.\nA = 1.0\nB = 2.0",
        "A = (\n  1.0,  # metres, measured\n  2.0,\n)",
        "A = f(1.0)",
        "A = 'one'",
        "A = True",
        "def f():\n  a = 1.0",
    ],
)
def test_a_number_with_a_word_is_let_by(text: str) -> None:
    assert bare_constants(text) == []
