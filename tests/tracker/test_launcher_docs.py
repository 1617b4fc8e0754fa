"""docs/methods/launcher.md shows every field as the code takes it."""

from pathlib import Path

import pytest

from tracker.launcher.fields import CHOICES, NUMBERS, TABLES

PAGE = (Path(__file__).parents[2] / "docs" / "methods" / "launcher.md").read_text(encoding="utf-8")


def rows(table: str) -> dict[str, str]:
    part = PAGE.split(f"### `[setup.{table}]`")[1].split("###")[0]
    lines = [line for line in part.splitlines() if line.startswith("| `")]
    return {line.split("`")[1]: line for line in lines}


@pytest.mark.parametrize("number", NUMBERS, ids=lambda n: n.key)
def test_every_number_stands_in_its_table(number) -> None:
    row = rows(number.table)[number.name]
    assert number.meaning in row
    assert ("*" in row) == number.learned
    if number.default is not None:
        assert f"| {number.default:g}" in row
    if number.u_share:
        assert f"{100 * number.u_share:g} %" in row


@pytest.mark.parametrize("choice", CHOICES, ids=lambda c: c.key)
def test_every_word_stands_in_its_table(choice) -> None:
    row = rows(choice.table)[choice.name]
    for word in choice.words:
        assert f'"{word}"' in row


def test_nothing_stands_there_that_the_code_does_not_know() -> None:
    for table in TABLES:
        known = {n.name for n in NUMBERS if n.table == table}
        known |= {c.name for c in CHOICES if c.table == table}
        assert set(rows(table)) == known
